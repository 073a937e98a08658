"""What pages show of imports."""

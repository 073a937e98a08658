"""What planning reads."""

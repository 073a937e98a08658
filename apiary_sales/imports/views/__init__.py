"""The pages of imports."""

"""The forms of imports."""

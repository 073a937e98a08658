"""The only code that reads honey and stock for display."""

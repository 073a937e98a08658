"""The only code that writes customers."""

"""The only code that writes imports, their rows and past sales."""

"""The only code that changes who works here and what they may do."""

"""Commands that take the place of Django's own: of two of one name, that of the first app runs."""

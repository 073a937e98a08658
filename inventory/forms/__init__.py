"""Forms of the honey house; `fields` holds the figures with units that all forms use."""

"""Which acts of the house are told, and that nobody's name is."""

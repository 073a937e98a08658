"""How numbers are written where a language's own way would mislead in this trade."""

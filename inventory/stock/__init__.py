"""Honey and goods, where they are and how they move: the ledger, lots, places, counts."""

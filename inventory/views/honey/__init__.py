"""Pages about bulk honey: what is in hand, lots, acts, dips, places and postings."""

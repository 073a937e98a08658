"""The page of the bottling plan, with the demand read from past sales."""

"""The letter that each series of numbers begins with, so that no number is taken for another.

They are chosen to be told apart by ear in English and in Spanish, and none looks like a digit.
Numbers that were given before a series had its letter stay as they are printed.
"""

ORDERS = "K"
INVOICES = "F"
RECEIPTS = "R"
CREDIT_NOTES = "C"
RUNS = "W"
BLEND_PLANS = "M"
COUNTS = "H"

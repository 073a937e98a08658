"""How a row of each kind is read, written through the service of what it makes, and taken back.

What is refused here names a column of the list, not a parameter.
"""

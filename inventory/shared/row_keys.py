"""Keys of rows, as an address or a button names them."""

# The largest key that both databases can look up.
KEY_MAX = 2**63 - 1
# No key of a table has more; Python refuses to read very long numbers, and databases long ones.
DIGITS_MAX = 18


def row_key(text: object) -> int:
    """Return the key that a text is, or 0, which no row has, where it is none.

    >>> row_key("12"), row_key("²"), row_key("9" * 5000)
    (12, 0, 0)
    """
    digits = str(text or "")
    is_key = digits.isascii() and digits.isdecimal() and len(digits) <= DIGITS_MAX
    return int(digits) if is_key else 0

"""Keys of rows, as an address or a button names them."""

# No key of a table has more; Python refuses to read very long numbers, and databases long ones.
DIGITS_MAX = 18


def row_key(text: object) -> int | None:
    """Return the key that a text is, None where it is none.

    >>> row_key("12"), row_key("²"), row_key("9" * 5000)
    (12, None, None)
    """
    digits = str(text or "")
    is_key = digits.isascii() and digits.isdecimal() and len(digits) <= DIGITS_MAX
    return int(digits) if is_key else None

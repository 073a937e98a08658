"""Check digits of GS1 article numbers (GTIN-8, -12, -13, -14).

Source: GS1 General Specifications, standard check digit calculation (from memory; worked examples
of GS1 India and of a UPC description read): from the right, digits are weighted 3, 1, 3, 1 …, and
the check digit brings the sum up to a multiple of ten.
"""

from typing import Any

from .ranges import each

LENGTHS = (8, 12, 13, 14)


def gtin_check_digit(digits: Any) -> Any:
    """Return the check digit, 0 to 9, that belongs after 7, 11, 12 or 13 digits given as text.

    Raises ValueError for anything else.

    >>> gtin_check_digit("03600024145")
    7
    """
    return each(_check_digit, digits)


def is_valid_gtin(text: Any) -> Any:
    """Return whether a text is 8, 12, 13 or 14 digits of which the last is the right check digit.

    Raises ValueError for what is not text: a number has lost its leading zeros.

    >>> is_valid_gtin("036000241457")
    True
    """
    return each(_is_valid, text)


def _check_digit(digits: str) -> int:
    _refuse_all_but_text(digits)
    if not _is_digits(digits) or len(digits) + 1 not in LENGTHS:
        raise ValueError(
            "A check digit is made for 7, 11, 12 or 13 digits (GTIN-8, -12, -13 or -14 without "
            f"its last), not for {digits!r}."
        )
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(digits[::-1]))
    return -total % 10


def _is_valid(text: str) -> bool:
    _refuse_all_but_text(text)
    if not _is_digits(text) or len(text) not in LENGTHS:
        return False
    return _check_digit(text[:-1]) == int(text[-1])


def _is_digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _refuse_all_but_text(value: Any) -> None:
    if not isinstance(value, str):
        raise ValueError(f"A GTIN is text, so that its leading zeros are kept, not {value!r}.")

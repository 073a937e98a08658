"""Money in whole cents, and the named ways of rounding to them."""

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

from django.utils.translation import get_language

from inventory.shared import conventions

# The sign of a currency; any other is written by its code, behind its amounts.
SYMBOLS = {
    "USD": "$",
    "CAD": "$",
    "AUD": "$",
    "NZD": "$",
    "MXN": "$",
    "EUR": "€",
    "GBP": "£",
    "ZAR": "R",
}
CENT = Decimal("0.01")
# A price of one is kept with four places.
FOUR_PLACES = Decimal("0.0001")


def cents_half_up(amount: Decimal | Fraction) -> int:
    """Return `amount` of currency units in whole cents, half a cent rounding away from zero."""
    return _cents(amount, ROUND_HALF_UP)


def cents_half_even(amount: Decimal | Fraction) -> int:
    """Return `amount` of currency units in whole cents, half a cent rounding to the even cent."""
    return _cents(amount, ROUND_HALF_EVEN)


def share_cents(total_cents: int, part: int, whole: int) -> int:
    """Return the part of `total_cents` that falls to `part` of `whole`, half a cent to the even.

    >>> share_cents(1000, 1, 3)
    333
    """
    return round(Fraction(total_cents * part, whole))


def split_cents(total_cents: int, weights: Sequence[int]) -> list[int]:
    """Split `total_cents` by `weights` so that the shares add up to the total exactly.

    Each share is the difference of two rounded running totals, so no cent is lost or made.

    >>> split_cents(100, [1, 1, 1])
    [33, 34, 33]
    """
    whole = sum(weights)
    shares, running, given = [], 0, 0
    for weight in weights:
        running += weight
        upto = share_cents(total_cents, running, whole)
        shares.append(upto - given)
        given = upto
    return shares


def amount(cents: int) -> Decimal:
    """Return whole cents as a decimal amount with two places."""
    return Decimal(cents).scaleb(-2).quantize(CENT)


def symbol() -> str:
    """Return the sign of the house's currency: "$"; empty for one that is written by its code."""
    return SYMBOLS.get(conventions.current().currency, "")


def is_sign_behind() -> bool:
    """Tell whether the sign stands behind the amount: "1.234,50 €", as readers of Spanish do."""
    return conventions.current().currency == "EUR" and get_language() == "es"


def price_places(price: Decimal) -> int:
    """Return the decimals a price is written with: two, and more where they are not nought."""
    decimals = f"{price.normalize():f}".partition(".")[2]
    return max(2, len(decimals))


def with_currency(number: str) -> str:
    """Write a number, already in words, in the currency: "$1,284.50", "1.234,50 €", "1,284.50 CHF".

    A sign before the number stays before all of it: "−$0.50".
    """
    sign = number[0] if number[:1] in ("-", "−") else ""
    number = number[len(sign) :]
    if is_sign_behind():
        return f"{sign}{number}\N{NO-BREAK SPACE}{symbol()}"
    if symbol():
        return f"{sign}{symbol()}{number}"
    return f"{sign}{number} {conventions.current().currency}"


def _cents(value: Decimal | Fraction, rounding: str) -> int:
    if isinstance(value, Fraction):
        if rounding == ROUND_HALF_EVEN:
            return round(value * 100)
        doubled = abs(value) * 200 + 1
        cents = doubled.numerator // (doubled.denominator * 2)
        return cents if value >= 0 else -cents
    return int((value * 100).quantize(Decimal(1), rounding=rounding))

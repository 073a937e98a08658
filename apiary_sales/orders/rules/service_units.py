"""Services are counted in hundredths of their unit, so that two and a half hours are exact."""

from decimal import Decimal
from fractions import Fraction

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory.shared.errors import Problems

# More of a service on one line is a slip of the finger.
UNITS_MAX = 1_000_000


def hundredths(amount: Decimal) -> int:
    """Return a quantity typed with two decimals as it is kept.

    >>> hundredths(Decimal("2.5"))
    250
    """
    return int(amount * 100)


def exact(hundredths: int) -> Fraction:
    """Return how many units so many hundredths are."""
    return Fraction(hundredths, 100)


def amount(hundredths: int) -> Decimal:
    """Return how many units so many hundredths are, without zeros behind.

    >>> amount(250), amount(300)
    (Decimal('2.5'), Decimal('3'))
    """
    return Decimal(f"{Decimal(hundredths).scaleb(-2).normalize():f}")


def in_words(hundredths: int) -> str:
    """Write a quantity of a service with the decimals it needs: "2.5"."""
    return number_format(amount(hundredths), force_grouping=True)


def check(problems: Problems, parameter: str, hundredths: int) -> None:
    if hundredths <= 0:
        problems.add(parameter, _("Enter a quantity of more than zero."))
    elif hundredths > UNITS_MAX * 100:
        problems.add(parameter, _("That is too much for one line. Check the figure."))

"""Simple interest on late payments: amount × percent a year × days / 365.

Common practice, not read in a source: actual days over 365, whatever the year, on what is open now,
never on interest. Where less was open than before, because some was paid late, the days before that
are not charged for the part that was paid.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from inventory.shared.money import cents_half_up

DAYS_A_YEAR = 365


@dataclass(frozen=True)
class Overdue:
    """What is open of one invoice, and the last day that is not charged yet for."""

    invoice_pk: int
    name: str
    open_cents: int
    after_day: date


@dataclass(frozen=True)
class Interest:
    """The interest on one invoice for some days."""

    overdue: Overdue
    until_day: date
    percent_a_year: Decimal
    cents: int

    @property
    def days(self) -> int:
        return (self.until_day - self.overdue.after_day).days

    @property
    def first_day(self) -> date:
        return self.overdue.after_day + timedelta(days=1)


def interest_cents(base_cents: int, percent_a_year: Decimal, days: int) -> int:
    """Return the simple interest in whole cents, half a cent rounding up.

    >>> interest_cents(100_000, Decimal(12), 30)
    986
    """
    return cents_half_up(Decimal(base_cents * days) / 100 * percent_a_year / 100 / DAYS_A_YEAR)

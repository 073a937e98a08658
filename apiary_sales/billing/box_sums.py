"""What the cash in a honesty box tells, beside the price of what is missing from the shelf."""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal


@dataclass(frozen=True)
class BoxOutcome:
    """The cash that is missing, and what was given on top; one of them is always zero."""

    short_cents: int
    on_top_cents: int


def outcome(*, expected_cents: int, cash_cents: int) -> BoxOutcome:
    """Compare the cash in a box with the price of what was taken.

    >>> outcome(expected_cents=2400, cash_cents=2000)
    BoxOutcome(short_cents=400, on_top_cents=0)
    """
    return BoxOutcome(max(0, expected_cents - cash_cents), max(0, cash_cents - expected_cents))


def short_percent(*, short_cents: int, expected_cents: int) -> Decimal | None:
    """Return how much of what was to pay is missing, to a tenth; None where nothing was sold.

    >>> short_percent(short_cents=400, expected_cents=2400)
    Decimal('16.7')
    """
    if not expected_cents:
        return None
    percent = Decimal(100 * short_cents) / expected_cents
    return percent.quantize(Decimal("0.1"), ROUND_HALF_EVEN)

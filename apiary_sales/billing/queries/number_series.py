"""The series of numbers that a house may begin where it left off elsewhere."""

from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.stock.models import Counter


@dataclass(frozen=True)
class NumberSeries:
    """One series: the number that comes next, and whether one was given already."""

    series: str
    name: str
    next_number: int
    has_begun: bool


def number_series() -> list[NumberSeries]:
    """Return the series of this year of papers that customers and the office see."""
    year = timezone.localdate().year
    short = f"{year % 100:02d}"
    names = {
        f"invoice {short}": _("Invoices"),
        f"invoice R{short}": _("Stand receipts"),
        f"invoice C{short}": _("Credit notes"),
        f"order-{year}": _("Orders and quotes"),
        f"run-{year}": _("Bottling runs"),
        "deposit-slip": _("Deposit slips"),
    }
    found = Counter.objects.in_bulk(list(names))
    return [
        NumberSeries(
            series,
            name,
            found[series].last + 1 if series in found else 1,
            series in found and found[series].last >= found[series].first,
        )
        for series, name in names.items()
    ]

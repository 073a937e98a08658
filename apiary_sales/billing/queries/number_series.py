"""The series of numbers that a house may begin where it left off elsewhere."""

from dataclasses import dataclass

from django.db.models import F, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import series
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
    names = _names()
    found = Counter.objects.in_bulk(list(names))
    return [
        NumberSeries(
            counter,
            name,
            found[counter].last + 1 if counter in found else 1,
            counter in found and found[counter].last >= found[counter].first,
        )
        for counter, name in names.items()
    ]


def begun() -> QuerySet[Counter]:
    """Return the counters of these series that gave a number already."""
    return Counter.objects.filter(pk__in=list(_names()), last__gte=F("first"))


def _names() -> dict[str, str]:
    """Return the name of each series by its counter."""
    year = timezone.localdate().year
    short = f"{year % 100:02d}"
    return {
        f"invoice {series.INVOICES}{short}": _("Invoices"),
        f"invoice {series.RECEIPTS}{short}": _("Stand receipts"),
        f"invoice {series.CREDIT_NOTES}{short}": _("Credit notes"),
        f"order-{year}": _("Orders and quotes"),
        f"run-{year}": _("Bottling runs"),
        "deposit-slip": _("Deposit slips"),
    }

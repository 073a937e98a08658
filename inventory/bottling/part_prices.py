"""What a packaging part costs: in the books on average, for plans what was quoted or paid last.

Services, queries and the rooms above read it; nothing is written here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import OuterRef, Subquery
from django.db.models.functions import Coalesce

from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.bottling.part_costs import unit_cents_of


@dataclass(frozen=True)
class LastPaid:
    """What one of a part cost when some were last paid for, in cents, and when that was."""

    unit_cents: Fraction
    paid_on: date


@dataclass(frozen=True)
class Quoted:
    """What a supplier asks for one of a part, in cents, and since when."""

    unit_cents: Fraction
    quoted_on: date


@dataclass(frozen=True)
class PartPrices:
    """The prices of one part, each None where there is none.

    `average` in cents is what the books use: the moving average of the pieces that are there.
    """

    average: Fraction | None = None
    last: LastPaid | None = None
    quoted: Quoted | None = None

    @property
    def for_plans(self) -> Fraction | None:
        """What the next one will cost, in cents: as quoted, else as paid last, else on average."""
        if self.quoted is not None:
            return self.quoted.unit_cents
        return self.average if self.last is None else self.last.unit_cents

    @property
    def is_paid_since_quoted(self) -> bool:
        """Tell whether some came in after the day of the quote, which may be asked no longer."""
        return (
            self.quoted is not None
            and self.last is not None
            and self.quoted.quoted_on < self.last.paid_on
        )


def part_prices(
    on: date | None = None,
    *,
    only: PackagingPart | None = None,
    averages: Mapping[int, Fraction] | None = None,
) -> dict[int, PartPrices]:
    """Return the prices of every part by its key, or as they were at the end of a day.

    The average is always that of the books now; `averages` where it is read already.
    """
    parts = PackagingPart.objects.order_by()
    if only is not None:
        parts = parts.filter(pk=only.pk)
    receipts = PartReceipt.objects.filter(part=OuterRef("pk"), posting__reversed_by__reverses=None)
    if on is not None:
        receipts = receipts.filter(received_on__lte=on)
    # What came free once is no price of the next ones, unless none was ever paid.
    paid = receipts.filter(cost_cents__gt=0).order_by("-received_on", "-id")
    free = receipts.filter(cost_cents=0).order_by("received_on", "id")
    last = Coalesce(Subquery(paid.values("pk")[:1]), Subquery(free.values("pk")[:1]))
    rows = list(parts.annotate(last_receipt=last))
    prices = {
        key: LastPaid(Fraction(cents, pieces), paid_on)
        for key, cents, pieces, paid_on in PartReceipt.objects.filter(
            pk__in=[part.last_receipt for part in rows if part.last_receipt]
        ).values_list("pk", "cost_cents", "pieces", "received_on")
    }
    if averages is None:
        averages = unit_cents_of(rows)
    return {
        part.pk: PartPrices(
            averages.get(part.pk),
            prices.get(part.last_receipt),
            _quoted(part.quoted_price, part.quoted_on, on),
        )
        for part in rows
    }


def prices_for_plans(on: date | None = None) -> dict[int, Fraction]:
    """Return what one of each part will cost in cents, by part; those without a price left out."""
    return known_for_plans(plan_prices(on))


def plan_prices(on: date | None = None) -> dict[int, PartPrices]:
    """Return the quoted and last prices of every part, without the averages, which cost more."""
    # Whatever has an average was paid once, so that there is a last price.
    return part_prices(on, averages={})


def known_for_plans(prices: Mapping[int, PartPrices]) -> dict[int, Fraction]:
    """Return what one of each part will cost in cents; those without a price left out."""
    found = {part: each.for_plans for part, each in prices.items()}
    return {part: cents for part, cents in found.items() if cents is not None}


def _quoted(price: Decimal | None, quoted_on: date | None, on: date | None) -> Quoted | None:
    if price is None or quoted_on is None or (on is not None and quoted_on > on):
        return None
    return Quoted(Fraction(price) * 100, quoted_on)

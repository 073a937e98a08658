"""Past sales that were brought in from lists, as the reports of sales count them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db.models import Count, F, Q, Sum

from apiary_sales.imports.models import PastSale

if TYPE_CHECKING:
    from apiary_sales.reports.frames.sales import SalesFilters

# The value in addresses for rows without a season or without a known customer.
NONE = "none"


@dataclass(frozen=True)
class PastLine:
    """What was sold of one product to one buyer in one channel on one day, by lists brought in."""

    day: date
    channel: str
    customer: int | None
    customer_name: str | None
    code: str | None
    product: str | None
    kind: str | None
    is_weighed: bool | None
    size: str | None
    size_name: str | None
    declared_amount: Decimal | None
    declared_unit: str | None
    variety: int | None
    variety_name: str | None
    lines: int
    quantity: int
    amount_cents: int


def lines(filters: SalesFilters, kinds: Q) -> Iterator[PastLine]:
    """Yield the past sales of these kinds that count, the oldest first, in one question."""
    found = PastSale.objects.counting().filter(kinds)
    if filters.season not in ("", NONE):
        return
    if filters.since:
        found = found.filter(day__gte=filters.since)
    if filters.until:
        found = found.filter(day__lte=filters.until)
    if filters.product:
        found = found.filter(product__code=filters.product)
    if filters.size:
        found = found.filter(product__size__code=filters.size)
    if filters.variety:
        variety = None if filters.variety == NONE else int(filters.variety)
        found = found.filter(product__kind="honey", product__variety=variety)
    if filters.channel:
        found = found.filter(channel=filters.channel)
    if filters.customer:
        customer = None if filters.customer == NONE else int(filters.customer)
        found = found.filter(customer=customer)
    rows = (
        found.order_by()
        .values_list(
            *("day", "channel", "customer", "customer__name"),
            *("product__code", "product__name", "product__kind", "product__item__is_weighed"),
            *("product__size__code", "product__size__name"),
            *("product__size__declared_amount", "product__size__declared_unit"),
            *("product__variety", "product__variety__name"),
        )
        .annotate(Count("pk"), Sum("quantity"), Sum("amount_cents"))
        .order_by("day", F("product").asc(nulls_first=True), "channel", "customer")
    )
    for row in rows.iterator():
        yield PastLine(*row)

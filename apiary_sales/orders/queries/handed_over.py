"""What was handed over and did not come back, by day and by sale."""

from collections.abc import Collection
from datetime import date
from typing import Any

from django.db.models import Exists, F, Min, OuterRef, QuerySet, Sum

from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.pricing.sales_sources import DayRow, SalesSource, SoldRow
from inventory.bottling.models import Product

KEPT = Sum(F("quantity") - F("returned"))


def by_day(products: Collection[int], first: date, last: date) -> QuerySet[Any, DayRow]:
    return (
        FulfilmentLine.objects.not_taken_back()
        .filter(
            order_line__product__in=products,
            fulfilment__filled_on__gte=first,
            fulfilment__filled_on__lte=last,
        )
        .order_by()
        .values_list("order_line__product", "fulfilment__filled_on")
        .annotate(kept=KEPT)
    )


def by_sale(first: date, last: date) -> list[SoldRow]:
    rows = (
        FulfilmentLine.objects.not_taken_back()
        .filter(
            order_line__kind=OrderLine.Kind.PACKED,
            fulfilment__filled_on__gte=first,
            fulfilment__filled_on__lte=last,
        )
        .order_by()
        .values_list(
            "order_line__order__channel",
            "order_line__order__customer__tier",
            "order_line__product",
            "order_line__quantity",
        )
        .annotate(kept=KEPT)
    )
    return [SoldRow(*row) for row in rows if row[-1]]


def first_days(products: Collection[int]) -> dict[int, date]:
    return dict(
        FulfilmentLine.objects.not_taken_back()
        .filter(order_line__product__in=products)
        .order_by()
        .values_list("order_line__product")
        .annotate(first=Min("fulfilment__filled_on"))
    )


def sold_by(products: Collection[int], day: date) -> QuerySet[Product]:
    # The lines of a product are looked at from the first on, until one was handed over by then.
    handed_over = FulfilmentLine.objects.not_taken_back().filter(
        order_line__product=OuterRef("pk"), fulfilment__filled_on__lte=day
    )
    return Product.objects.filter(Exists(handed_over), pk__in=products).order_by()


SOURCE = SalesSource(by_day=by_day, by_sale=by_sale, first_days=first_days, sold_by=sold_by)

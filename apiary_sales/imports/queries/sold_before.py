"""What lists that were brought in tell of sales, by day and by sale."""

from collections.abc import Collection
from datetime import date
from typing import Any

from django.db.models import Exists, Min, OuterRef, QuerySet, Sum

from apiary_sales.imports.models import PastSale
from apiary_sales.orders.models import Order
from apiary_sales.pricing.sales_sources import DayRow, SalesSource, SoldRow
from inventory.bottling.models import Product


def by_day(products: Collection[int], first: date, last: date) -> QuerySet[Any, DayRow]:
    return (
        PastSale.objects.counting()
        .filter(product__in=products, day__gte=first, day__lte=last)
        .order_by()
        .values_list("product", "day")
        .annotate(pieces=Sum("quantity"))
    )


def by_sale(first: date, last: date) -> list[SoldRow]:
    rows = (
        PastSale.objects.counting()
        .filter(product__item__is_weighed=False, day__gte=first, day__lte=last)
        .order_by()
        .values_list("channel", "customer__tier", "product", "quantity")
        .annotate(pieces=Sum("quantity"))
    )
    return [
        # A row of the stand is often all of a day, so its pieces say nothing about each sale.
        SoldRow(channel, tier, product, 1 if channel == Order.Channel.STAND else each, pieces)
        for channel, tier, product, each, pieces in rows
    ]


def first_days(products: Collection[int]) -> dict[int, date]:
    return dict(
        PastSale.objects.counting()
        .filter(product__in=products)
        .order_by()
        .values_list("product")
        .annotate(first=Min("day"))
    )


def sold_by(products: Collection[int], day: date) -> QuerySet[Product]:
    told = PastSale.objects.counting().filter(product=OuterRef("pk"), day__lte=day)
    return Product.objects.filter(Exists(told), pk__in=products).order_by()


SOURCE = SalesSource(by_day=by_day, by_sale=by_sale, first_days=first_days, sold_by=sold_by)

"""What was sold at stands, added up by method, place, person, hour and product.

Services keep it with the close of a day, and pages show it, so it is read in one place. Amounts
are with tax, as the buyer paid them, so that the tables of one report come to the same; only the
payments are less what came back in part and what was not paid, which are told apart. What was
undone is left out.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from decimal import Decimal
from typing import Any

from django.db.models import Count, F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from apiary_sales.billing import counter_money
from apiary_sales.billing.models import InvoiceLine, Payment, SaleMark, StandSale
from inventory.shared import words


@dataclass(frozen=True)
class TakingsRow:
    """So many sales, or payments, of one kind, and what they came to."""

    name: str
    count: int
    cents: int


@dataclass(frozen=True)
class ProductTakings:
    """So much of one product, in its unit, and what it came to with tax."""

    name: str
    quantity: str
    cents: int


@dataclass(frozen=True)
class Takings:
    """The sales of some days. `cents` is all of them with tax; tips come on top."""

    count: int = 0
    cents: int = 0
    tax_cents: int = 0
    on_top_cents: int = 0
    discount_cents: int = 0
    returned_cents: int = 0
    unpaid_cents: int = 0
    # What the smallest coin added to what was paid in cash, or took off.
    rounding_cents: int = 0
    undone_count: int = 0
    undone_cents: int = 0
    marks: int = 0
    open_marks: int = 0
    by_method: list[TakingsRow] = field(default_factory=list)
    by_place: list[TakingsRow] = field(default_factory=list)
    by_person: list[TakingsRow] = field(default_factory=list)
    by_hour: list[TakingsRow] = field(default_factory=list)
    by_product: list[ProductTakings] = field(default_factory=list)

    def as_data(self) -> dict[str, Any]:
        """Return it as it is kept with the close of a day."""
        return asdict(self)

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> "Takings":
        """Read what was kept."""
        rows = {
            name: [TakingsRow(**row) for row in data.get(name, [])]
            for name in ("by_method", "by_place", "by_person", "by_hour")
        }
        products = [ProductTakings(**row) for row in data.get("by_product", [])]
        return cls(**{**data, **rows, "by_product": products})


def takings(sales: QuerySet[StandSale]) -> Takings:
    """Add up these sales, in eight questions to the database."""
    sales = sales.order_by()
    standing = sales.filter(undone_on=None)
    rows = list(standing.select_related("receipt", "place", "sold_by").order_by("sold_at", "id"))
    undone = sales.exclude(undone_on=None).aggregate(
        count=Count("pk"), cents=Coalesce(Sum("receipt__total_cents"), 0)
    )
    marks = SaleMark.objects.filter(sale__in=sales).aggregate(
        all=Count("pk"), open=Count("pk", filter=Q(seen_at=None))
    )
    returned = standing.aggregate(cents=Coalesce(Sum("receipt__credit_notes__total_cents"), 0))
    discounts = InvoiceLine.objects.filter(invoice__stand_sale__in=standing).aggregate(
        cents=Coalesce(Sum("discount_cents"), 0)
    )
    by_method, rounding_cents = _by_method(standing)
    cents, returned_cents = sum(sale.total_cents for sale in rows), -returned["cents"]
    return Takings(
        count=len(rows),
        cents=cents,
        tax_cents=sum(sale.receipt.tax_cents for sale in rows),
        on_top_cents=sum(sale.on_top_cents for sale in rows),
        discount_cents=discounts["cents"],
        returned_cents=returned_cents,
        unpaid_cents=cents - returned_cents + rounding_cents - sum(row.cents for row in by_method),
        rounding_cents=rounding_cents,
        undone_count=undone["count"],
        undone_cents=undone["cents"],
        marks=marks["all"],
        open_marks=marks["open"],
        by_method=by_method,
        by_place=_grouped(rows, lambda sale: sale.place.name),
        by_person=_grouped(rows, lambda sale: sale.sold_by.display_name),
        by_hour=_grouped(rows, _hour),
        by_product=_by_product(standing),
    )


def _hour(sale: StandSale) -> str:
    hour = timezone.localtime(sale.sold_at).hour
    return f"{hour:02}:00–{hour + 1:02}:00"


def _grouped(sales: Iterable[StandSale], name_of: Callable[[StandSale], str]) -> list[TakingsRow]:
    sums: dict[str, list[int]] = defaultdict(list)
    for sale in sales:
        sums[name_of(sale)].append(sale.total_cents)
    return [TakingsRow(name, len(cents), sum(cents)) for name, cents in sorted(sums.items())]


def _by_method(sales: QuerySet[StandSale]) -> tuple[list[TakingsRow], int]:
    """Return the payments of these sales by how they were paid, less what came back in part.

    Also by how much those in cash were rounded.
    """
    put = list(
        counter_money.put_to(sales)
        .order_by()
        .values("payment__method")
        .annotate(
            cents=counter_money.HANDED,
            rounding=counter_money.ROUNDED,
            count=Count("payment", distinct=True),
        )
    )
    names = dict(Payment.Method.choices)
    rows = [
        TakingsRow(str(names[row["payment__method"]]), row["count"], row["cents"])
        for row in sorted(put, key=lambda row: -row["cents"])
        if row["cents"]
    ]
    return rows, sum(row["rounding"] for row in put)


def _by_product(sales: QuerySet[StandSale]) -> list[ProductTakings]:
    # Goods are added up by product; honey from a vessel has none, and keeps what its line says.
    rows = (
        InvoiceLine.objects.filter(invoice__stand_sale__in=sales)
        .order_by()
        .values("unit", name=Coalesce(_PRODUCT, F("description")))
        .annotate(
            pieces=Sum("quantity"),
            cents=Sum(F("amount_cents") + F("tax_cents") + F("rounding_cents")),
        )
    )
    units = dict(InvoiceLine.Unit.choices)
    return [
        ProductTakings(row["name"], _quantity(row["pieces"], row["unit"], units), row["cents"])
        for row in sorted(rows, key=lambda row: (-row["cents"], row["name"]))
    ]


_PRODUCT = F("fulfilment_line__order_line__product__name")


def _quantity(figure: Decimal, unit: str, units: dict[str, Any]) -> str:
    shown = words.number(figure.normalize())
    return shown if unit == InvoiceLine.Unit.PIECE else f"{shown} {units[unit]}"

"""Stock by size as selling sees it: what is there, promised, coming, and for how long."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Reservation
from inventory.bottling.models import BottlingRun, Size
from inventory.bottling.queries import packed_stock
from inventory.bottling.queries.packed_stock import SizeStock
from inventory.shared import words

RECENT = timedelta(days=28)
YEAR_DAYS = 365


@dataclass(frozen=True)
class SizeForSale:
    """One size: its stock, what orders still want, what runs will bring, and how it sells."""

    stock: SizeStock
    wanted: int
    coming: int
    sold_lately: int

    @property
    def size(self) -> Size:
        return self.stock.size

    @property
    def days_of_cover(self) -> int | None:
        """Whole days the free pieces last at the rate of the last 28 days; None without sales."""
        if not self.sold_lately:
            return None
        return int(Decimal(self.stock.free) * RECENT.days / self.sold_lately)

    @property
    def cover(self) -> str | None:
        """The days of cover in words, those beyond a year not counted; None without sales."""
        days = self.days_of_cover
        if days is None:
            return None
        return _("over a year") if days > YEAR_DAYS else words.days(days)

    @property
    def wanted_beyond(self) -> int:
        """Pieces ordered but not reserved. Always 0 unless the data is inconsistent."""
        return max(self.wanted - self.stock.reserved, 0)


def sizes(*, on: date | None = None) -> list[SizeForSale]:
    """Return every size in use or still there, smallest first, in a constant number of queries."""
    return _for_sale(packed_stock.sizes(), on)


def of(size: Size, *, on: date | None = None) -> SizeForSale:
    """Return one size."""
    return _for_sale([packed_stock.of(size)], on)[0]


def reserved_for(size: Size) -> list[Reservation]:
    """Return who a size is reserved for, by place and lot."""
    return list(
        Reservation.objects.filter(line__size=size)
        .select_related("line__order__customer", "balance__place", "balance__lot")
        .order_by("line__order__wanted_on", "line__order_id", "balance__place__code", "id")
    )


def planned_runs(size: Size) -> list[BottlingRun]:
    """Return the runs that will fill this size, the next one first."""
    return list(
        BottlingRun.objects.filter(size=size, status=BottlingRun.Status.PLANNED)
        .select_related("source", "target")
        .order_by("planned_for", "id")
    )


def _for_sale(found: list[SizeStock], on: date | None) -> list[SizeForSale]:
    sizes = [each.size.pk for each in found]
    wanted: dict[int, int] = defaultdict(int)
    for row in OrderLine.objects.filter(
        size__in=sizes, order__status__in=Order.OPEN_STATUSES
    ).values_list("size", "quantity", "filled"):
        wanted[row[0]] += row[1] - row[2]
    coming = _sums(
        # What is planned for another beekeeper will not be for sale.
        BottlingRun.objects.filter(
            size__in=sizes, status=BottlingRun.Status.PLANNED, lot__owner=None
        ).values_list("size"),
        "pieces_planned",
    )
    today = on or timezone.localdate()
    sold = _sums(
        FulfilmentLine.objects.not_taken_back()
        .filter(
            order_line__size__in=sizes,
            fulfilment__filled_on__gt=today - RECENT,
            fulfilment__filled_on__lte=today,
        )
        .values_list("order_line__size"),
        "quantity",
    )
    return [
        SizeForSale(
            each,
            wanted=wanted[each.size.pk],
            coming=coming.get(each.size.pk, 0),
            sold_lately=sold.get(each.size.pk, 0),
        )
        for each in found
    ]


def _sums(rows: QuerySet[Any, Any], column: str) -> dict[int, int]:
    return dict(rows.order_by().annotate(Sum(column)))

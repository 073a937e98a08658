"""Stock by container size as selling sees it: what is there, promised, coming, and for how long."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Sum
from django.utils import timezone

from apiary_sales.orders.models import FulfilmentLine, OrderLine, Reservation
from apiary_sales.orders.queries.orders import OPEN
from inventory.bottling.models import BottlingRun, ContainerSize
from inventory.bottling.queries import packed_stock
from inventory.bottling.queries.packed_stock import SizeStock

RECENT = timedelta(days=28)


@dataclass(frozen=True)
class SizeForSale:
    """One size: its stock, what orders still want, what runs will bring, and how it sells."""

    stock: SizeStock
    wanted: int
    coming: int
    sold_lately: int

    @property
    def container(self) -> ContainerSize:
        return self.stock.container

    @property
    def days_of_cover(self) -> int | None:
        """Whole days the free pieces last at the rate of the last 28 days; None without sales."""
        if not self.sold_lately:
            return None
        return int(Decimal(self.stock.free) * RECENT.days / self.sold_lately)

    @property
    def wanted_beyond(self) -> int:
        """Pieces that orders want and nobody has reserved; with sound books, none."""
        return max(self.wanted - self.stock.reserved, 0)


def sizes(*, on: date | None = None) -> list[SizeForSale]:
    """Return every size in use or still there, smallest first, in a constant number of queries."""
    return _for_sale(packed_stock.sizes(), on)


def size(container: ContainerSize, *, on: date | None = None) -> SizeForSale:
    """Return one size."""
    return _for_sale([packed_stock.size(container)], on)[0]


def reserved_for(container: ContainerSize) -> list[Reservation]:
    """Return who a size is reserved for, by place and lot."""
    return list(
        Reservation.objects.filter(line__container=container)
        .select_related("line__order__customer", "balance__place", "balance__lot")
        .order_by("line__order__wanted_on", "line__order_id", "balance__place__code", "id")
    )


def planned_runs(container: ContainerSize) -> list[BottlingRun]:
    """Return the runs that will fill this size, the next one first."""
    return list(
        BottlingRun.objects.filter(container=container, status=BottlingRun.Status.PLANNED)
        .select_related("source", "target")
        .order_by("planned_for", "id")
    )


def _for_sale(found: list[SizeStock], on: date | None) -> list[SizeForSale]:
    containers = [size.container.pk for size in found]
    wanted = defaultdict(int)
    for row in OrderLine.objects.filter(
        container__in=containers, order__status__in=OPEN
    ).values_list("container", "quantity", "filled"):
        wanted[row[0]] += row[1] - row[2]
    coming = _sums(
        BottlingRun.objects.filter(
            container__in=containers, status=BottlingRun.Status.PLANNED
        ).values_list("container"),
        "pieces_planned",
    )
    today = on or timezone.localdate()
    sold = _sums(
        FulfilmentLine.objects.filter(
            order_line__container__in=containers,
            fulfilment__is_taken_back=False,
            fulfilment__filled_on__gt=today - RECENT,
            fulfilment__filled_on__lte=today,
        ).values_list("order_line__container"),
        "quantity",
    )
    return [
        SizeForSale(
            size,
            wanted=wanted[size.container.pk],
            coming=coming.get(size.container.pk, 0),
            sold_lately=sold.get(size.container.pk, 0),
        )
        for size in found
    ]


def _sums(rows, column: str) -> dict[int, int]:
    return dict(rows.order_by().annotate(Sum(column)))

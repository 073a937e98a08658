"""Delivery rounds, and what is to be loaded for one: by product and lot, and stop by stop."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from django.db.models import Count, Prefetch, Q, QuerySet

from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import consignments
from apiary_sales.orders.queries import orders as found_orders
from apiary_sales.orders.rules import lines as line_rules
from apiary_sales.orders.trade_models import ConsignmentDelivery, DeliveryRound, RoundStop
from inventory.bottling.models import Product
from inventory.stock.models import Balance, Lot, Place


@dataclass(frozen=True)
class GoodsToHandOver:
    """Pieces, or grams of what is weighed, of one product and lot at a stop.

    `lot` is None where none is free: then there is `quantity` too little.
    """

    product: Product
    lot: Lot | None
    quantity: int
    place: str = ""


@dataclass(frozen=True)
class DrumToHandOver:
    """A drum that leaves whole; `gross_grams` is with the drum, None where its tare is unknown."""

    drum: Place
    lot: Lot | None
    net_grams: int

    @property
    def gross_grams(self) -> int | None:
        if self.drum.tare_grams is None:
            return None
        return self.net_grams + self.drum.tare_grams


@dataclass
class StopToMake:
    """A stop of a round with all that is to be handed over there."""

    stop: RoundStop
    goods: list[GoodsToHandOver] = field(default_factory=list)
    drums: list[DrumToHandOver] = field(default_factory=list)
    to_draw: list[OrderLine] = field(default_factory=list)
    to_do: list[OrderLine] = field(default_factory=list)

    @property
    def customer(self) -> Customer | None:
        return self.stop.customer

    @property
    def address(self) -> DeliveryAddress | Customer | None:
        """Where the driver goes: the delivery address of the order, or the customer's own."""
        order = self.stop.order
        return order.deliver_to if order else self.customer

    @property
    def what(self) -> str:
        """The number of what is brought: of an order, or of a consignment delivery."""
        brought = self.stop.delivery or self.stop.order
        return brought.number if brought else ""

    @property
    def is_delivered(self) -> bool:
        return self.stop.delivered_at is not None and not self.is_taken_back

    @property
    def is_taken_back(self) -> bool:
        """Whether what was handed over here was taken back since; it is for another stop now."""
        return self.stop.fulfilment is not None and self.stop.fulfilment.is_taken_back

    @property
    def is_settled_elsewhere(self) -> bool:
        """Whether it was handed over or cancelled on its own page, not on the round."""
        if self.stop.delivered_at is not None:
            return False
        if self.stop.delivery:
            return self.stop.delivery.status != ConsignmentDelivery.Status.PLANNED
        return self.stop.order is not None and self.stop.order.status not in Order.OPEN_STATUSES

    @property
    def is_waiting(self) -> bool:
        return self.stop.delivered_at is None and not self.is_settled_elsewhere

    @property
    def lacks(self) -> bool:
        return any(each.lot is None for each in self.goods)


@dataclass(frozen=True)
class LoadList:
    """What one vehicle is loaded with for the stops that are not delivered yet."""

    round: DeliveryRound
    stops: list[StopToMake]

    @property
    def waiting(self) -> list[StopToMake]:
        return [stop for stop in self.stops if stop.is_waiting]

    @cached_property
    def goods(self) -> list[GoodsToHandOver]:
        """All pieces by product and lot."""
        totals: dict[tuple[Product, Lot | None], int] = defaultdict(int)
        for stop in self.waiting:
            for each in stop.goods:
                totals[each.product, each.lot] += each.quantity
        rows = [GoodsToHandOver(product, lot, much) for (product, lot), much in totals.items()]
        return sorted(
            rows, key=lambda row: (row.product.name, row.lot is None, row.lot.pk if row.lot else 0)
        )

    @property
    def drums(self) -> list[DrumToHandOver]:
        return [drum for stop in self.waiting for drum in stop.drums]

    @property
    def net_grams(self) -> int:
        return sum(drum.net_grams for drum in self.drums)

    @property
    def gross_grams(self) -> int | None:
        """All drums with their honey; None while the tare of any is unknown."""
        weights = [drum.gross_grams for drum in self.drums]
        known = [grams for grams in weights if grams is not None]
        return sum(known) if len(known) == len(weights) else None

    @property
    def has_honey(self) -> bool:
        return any(stop.drums or stop.to_draw for stop in self.waiting)


def listed() -> QuerySet[DeliveryRound]:
    """Return rounds, latest day first, with how many stops they have and how many are left."""
    return DeliveryRound.objects.annotate(
        stop_count=Count("stops"),
        left_count=Count("stops", filter=Q(stops__delivered_at=None)),
    ).order_by("-day", "-id")


def load_list(round: DeliveryRound) -> LoadList:
    """Return the stops of a round with what is to be handed over, in a constant number of queries.

    What is reserved for an order is named by its lots; for a consignment delivery, those that would
    be taken now, oldest lot first.
    """
    stops = list(
        round.stops.select_related(
            "delivery__shelf__customer",
            "delivery__shelf__place",
            "delivered_by",
            "fulfilment",
        ).prefetch_related(
            Prefetch("order", found_orders.for_page()),
            "delivery__lines__product__item",
        )
    )
    made = [StopToMake(stop) for stop in stops]
    lots = _lots_in_vessels(made)
    picker = _Picker(made)
    for each in made:
        if not each.is_waiting:
            continue
        if each.stop.delivery:
            for line in each.stop.delivery.lines.all():
                each.goods += picker.pick(line.product, line.pieces)
        elif each.stop.order:
            _add_order(each, each.stop.order, lots)
    return LoadList(round, made)


def orders_to_bring() -> QuerySet[Order]:
    """Return the orders to fill that are on no round yet, the one wanted first at the top."""
    waiting = RoundStop.objects.filter(delivered_at=None, order__isnull=False)
    return found_orders.to_fill().exclude(pk__in=waiting.values("order"))


def deliveries_to_bring() -> QuerySet[ConsignmentDelivery]:
    """Return the planned consignment deliveries that are on no round yet."""
    waiting = RoundStop.objects.filter(delivered_at=None, delivery__isnull=False)
    return consignments.planned().exclude(pk__in=waiting.values("delivery"))


def _add_order(each: StopToMake, order: Order, lots: dict[int, Lot | None]) -> None:
    for line in order.lines.all():
        if not line.to_fill:
            continue
        if line_rules.is_whole_drum(line):
            drum = line_rules.vessel_of(line)
            each.drums.append(DrumToHandOver(drum, lots.get(drum.pk), line.to_fill))
        elif line.kind == OrderLine.Kind.HONEY:
            each.to_draw.append(line)
        elif line.kind in line_rules.OF_PRODUCTS:
            product, left = line_rules.product_of(line), line.to_fill
            for reservation in line.reservations.all():
                part = min(left, reservation.quantity)
                left -= part
                each.goods.append(
                    GoodsToHandOver(product, reservation.lot, part, reservation.balance.place.name)
                )
            if left:
                each.goods.append(GoodsToHandOver(product, None, left))
        elif line.kind == OrderLine.Kind.SERVICE:
            each.to_do.append(line)


def _lots_in_vessels(stops: Sequence[StopToMake]) -> dict[int, Lot | None]:
    vessels = [
        line.drum_id
        for each in stops
        if each.stop.order
        for line in each.stop.order.lines.all()
        if line.kind == OrderLine.Kind.HONEY
    ]
    there = Balance.objects.filter(place__in=vessels, quantity__gt=0)
    return {
        balance.place_id: balance.lot
        for balance in there.filter(item__kind="honey").select_related("lot")
    }


class _Picker:
    """Choose free pieces for one delivery after another, none of them twice."""

    def __init__(self, stops: Sequence[StopToMake]) -> None:
        items = [
            line.product.item
            for each in stops
            if each.stop.delivery and each.is_waiting
            for line in each.stop.delivery.lines.all()
        ]
        self._balances = consignments.free_balances(items) if items else []
        self._given: dict[int, int] = {}

    def pick(self, product: Product, pieces: int) -> list[GoodsToHandOver]:
        picked, left = [], pieces
        for balance in self._balances:
            if balance.item_id != product.item_id:
                continue
            given = self._given.get(balance.pk, 0)
            taken = min(left, balance.free - given)
            if taken > 0:
                self._given[balance.pk] = given + taken
                left -= taken
                picked.append(
                    GoodsToHandOver(product, balance.honey_lot, taken, balance.place.name)
                )
        if left:
            picked.append(GoodsToHandOver(product, None, left))
        return picked

"""Quotes and orders for lists and for their own page."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine, Reservation
from apiary_sales.orders.rules.lines import is_whole_drum
from inventory.shared import words
from inventory.shared.tags import Tag

TAG_KINDS: dict[str, str] = {
    Order.Status.QUOTED: "info",
    Order.Status.OPEN: "warn",
    Order.Status.PART_FILLED: "warn",
    Order.Status.FILLED: "good",
    Order.Status.CANCELLED: "",
    Order.Status.DECLINED: "",
    Order.Status.WITHDRAWN: "",
    Order.Status.EXPIRED: "bad",
    Order.Status.SUPERSEDED: "",
}


@dataclass(frozen=True)
class OrderRow:
    """An order in a list: what is on it in a few words, and whether it is late."""

    order: Order
    goods: str
    total_cents: int
    is_late: bool
    missing: list[OrderLine]

    @property
    def tags(self) -> list[Tag]:
        tags = state_tags(self.order, is_late=self.is_late)
        return [*tags, Tag(_("reserved goods are gone"), "bad")] if self.missing else tags

    @property
    def is_off(self) -> bool:
        """Whether nothing comes of it any more."""
        return self.order.status == Order.Status.CANCELLED or (
            self.order.is_quote and self.order.status != Order.Status.QUOTED
        )


def listed() -> QuerySet[Order]:
    """Return orders with all that a list shows of them, in a constant number of queries."""
    lines = OrderLine.objects.select_related("drum")
    return Order.objects.select_related("customer").prefetch_related(Prefetch("lines", lines))


def to_fill() -> QuerySet[Order]:
    """Return the orders with something left to fill, the one wanted first at the top."""
    return (
        listed()
        .filter(status__in=Order.OPEN_STATUSES)
        .order_by(F("wanted_on").asc(nulls_last=True), "id")
    )


def quotes_to_follow_up() -> QuerySet[Order]:
    """Return the quotes nobody has answered, the one that runs out first at the top."""
    return listed().filter(status=Order.Status.QUOTED).order_by("valid_until", "id")


def lately_filled() -> QuerySet[Order]:
    """Return filled orders, the latest first; sales at the stand are left out."""
    return (
        listed()
        .filter(status=Order.Status.FILLED)
        .exclude(channel=Order.Channel.STAND)
        .order_by("-id")
    )


def find(*, status: str = "", channel: str = "", text: str = "") -> QuerySet[Order]:
    """Return the orders that fit, newest first; `text` is in the number, customer or reference."""
    found = listed().order_by("-id")
    if status == "to_fill":
        found = found.filter(status__in=Order.OPEN_STATUSES)
    elif status in (Order.Status.QUOTED, Order.Status.EXPIRED):
        found = found.filter(_quoted_and_expired(status == Order.Status.EXPIRED))
    elif status:
        found = found.filter(status=status)
    if channel:
        found = found.filter(channel=channel)
    for word in text.split():
        found = found.filter(
            Q(number__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(customer_reference__icontains=word)
        )
    return found


def _quoted_and_expired(is_expired: bool) -> Q:
    """Fit the open quotes whose last day is past, or those that can be accepted still."""
    is_over = Q(valid_until__lt=timezone.localdate())
    fits = Q(status=Order.Status.QUOTED) & (is_over if is_expired else ~is_over)
    return fits | Q(status=Order.Status.EXPIRED) if is_expired else fits


def of_customer(customer: Customer) -> QuerySet[Order]:
    """Return the orders of one customer, newest first."""
    return listed().filter(customer=customer).order_by("-id")


def rows(orders: Iterable[Order], *, on: date | None = None) -> list[OrderRow]:
    """Return list rows of orders that came from this module."""
    today = on or timezone.localdate()
    return [
        OrderRow(
            order,
            _goods(order.lines.all()),
            order.total_cents,
            is_late(order, today),
            missing_goods(order),
        )
        for order in orders
    ]


def missing_goods(order: Order) -> list[OrderLine]:
    """Return the lines whose reserved goods turned out to be gone."""
    if order.status not in Order.OPEN_STATUSES:
        return []
    return [line for line in order.lines.all() if line.gave_way]


def is_late(order: Order, on: date) -> bool:
    """Tell whether an order was wanted earlier, or a quote has run out."""
    if order.status in Order.OPEN_STATUSES:
        return order.wanted_on is not None and order.wanted_on < on
    if order.status == Order.Status.QUOTED:
        return order.valid_until is not None and order.valid_until < on
    return False


def state_tags(order: Order, *, is_late: bool) -> list[Tag]:
    """Return the state of an order as tags: one, or two where it is late."""
    if order.status == Order.Status.QUOTED and is_late:
        return [Tag(str(Order.Status.EXPIRED.label), TAG_KINDS[Order.Status.EXPIRED])]
    state = Tag(order.get_status_display(), TAG_KINDS.get(order.status, ""))
    return [state, Tag(_("late"), "bad")] if is_late else [state]


def for_page() -> QuerySet[Order]:
    """Return orders with everything that the page of one shows."""
    reservations = Reservation.objects.select_related("balance__place", "balance__lot").order_by(
        "balance__place__code", "balance__lot__best_by", "id"
    )
    lines = OrderLine.objects.select_related("product", "drum", "lot", "service").prefetch_related(
        Prefetch("reservations", reservations)
    )
    parts = FulfilmentLine.objects.select_related(
        "order_line__service", "order_line__drum", "lot", "weighing", "shipped_drum"
    )
    fulfilments = Fulfilment.objects.select_related("filled_by", "posting").prefetch_related(
        Prefetch("lines", parts)
    )
    return Order.objects.select_related(
        "customer", "created_by", "ship_to", "supersedes", "superseded_by"
    ).prefetch_related(
        Prefetch("lines", lines), Prefetch("fulfilments", fulfilments), "events__recorded_by"
    )


def quoted() -> QuerySet[Order]:
    """Return quotes and the orders that were one, as `for_page`; drums are always quoted first."""
    return for_page().filter(
        Q(valid_until__isnull=False)
        | Q(channel=Order.Channel.BULK)
        | Q(status__in=Order.QUOTE_STATUSES)
    )


def has_goods_to_invoice(order: Order) -> bool:
    """Tell whether something of the order was handed over that no bill shows."""
    return FulfilmentLine.objects.unbilled().filter(fulfilment__order=order).exists()


def _goods(lines: Iterable[OrderLine]) -> str:
    """Say what is on an order: "48 One pound, 24 Two pound" or "6 drums, 3,902 lb"."""
    lines = [line for line in lines if line.quantity]
    said = [
        f"{number_format(line.quantity, force_grouping=True)} {line.description}"
        for line in lines
        if line.kind == OrderLine.Kind.PACKED
    ]
    honey = [line for line in lines if line.kind == OrderLine.Kind.HONEY]
    drums = [line for line in honey if is_whole_drum(line)]
    for line in lines:
        if line.kind == OrderLine.Kind.WEIGHED:
            said.append(f"{words.weight(line.quantity)} {line.description}")
    if drums:
        said.append(
            ngettext("%(count)s drum", "%(count)s drums", len(drums)) % {"count": len(drums)}
        )
    if honey:
        said.append(words.weight(sum(line.quantity for line in honey)))
    said += [line.description for line in lines if line.kind == OrderLine.Kind.SERVICE]
    return ", ".join(said) or _("charges only")

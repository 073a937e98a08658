"""Orders that buyers fetch at a stand: what is to hand over, where it is, and what is to pay."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, OuterRef, Prefetch, Q, QuerySet, Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, InvoiceLine, Payment, StandSale
from apiary_sales.billing.queries import stand
from apiary_sales.billing.queries.stand import TaxAtStand
from apiary_sales.customers.models import Customer, CustomerBalance, ExemptionCertificate
from apiary_sales.customers.permissions import VIEW_CUSTOMERS
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Reservation
from apiary_sales.orders.rules import pickups as rules
from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.rules import tax
from inventory.shared import words
from inventory.shared.money import share_cents
from inventory.shared.people import Person
from inventory.stock import own_places
from inventory.stock.models import Place

SHOWN_MAX = 50


@dataclass(frozen=True)
class ReadyAt:
    """What is reserved at one place for an order, in words."""

    place: Place
    text: str


@dataclass(frozen=True)
class Pickup:
    """An open order that its buyer fetches. `to_pay_cents` is for all of it, fetched today."""

    order: Order
    text: str
    total_cents: int
    to_pay_cents: int
    ready: list[ReadyAt]
    is_ready: bool

    @property
    def who(self) -> str:
        return str(self.order.customer or self.order.number)

    @property
    def url(self) -> str:
        return reverse("billing:stand_pickup", args=[self.order.number])

    def as_data(self) -> dict[str, Any]:
        """Return what the stand page shows of it."""
        return {
            "order": self.order.number,
            "customer": str(self.order.customer or ""),
            "text": self.text,
            "total_cents": self.total_cents,
            "to_pay_cents": self.to_pay_cents,
            "ready_on": self.order.wanted_on.isoformat() if self.order.wanted_on else None,
            "url": self.url,
        }


@dataclass(frozen=True)
class PickupLine:
    """One line to hand over at a place: what of it is there, and where the rest is."""

    line: OrderLine
    reserved_here: int
    free_here: int
    elsewhere: list[tuple[Place, int]]
    on_hold: int

    @property
    def suggested(self) -> int:
        """How much can be handed over now with what the books have at the place."""
        if self.line.kind != OrderLine.Kind.PACKED:
            return self.line.to_fill
        return min(self.line.to_fill, self.reserved_here + self.free_here)

    @property
    def elsewhere_in_words(self) -> str:
        return ", ".join(f"{place.name}: {words.pieces(count)}" for place, count in self.elsewhere)


def to_fetch() -> QuerySet[Order]:
    """Return the open orders with pieces that buyers fetch, those wanted first at the top."""
    left = OrderLine.objects.filter(
        order=OuterRef("pk"), kind=OrderLine.Kind.PACKED, quantity__gt=F("filled")
    )
    return (
        Order.objects.filter(
            Exists(left), status__in=Order.OPEN_STATUSES, channel__in=rules.CHANNELS, ship_to=None
        )
        .select_related("customer")
        .order_by(F("wanted_on").asc(nulls_last=True), "id")
    )


def waiting(text: str = "", *, taxed: TaxAtStand | None = None) -> list[Pickup]:
    """Return the orders to fetch whose number or customer has this text, in a dozen questions.

    `taxed` is how the stand is taxed today, where that was read already.
    """
    lines = OrderLine.objects.select_related("product").order_by("id")
    found = to_fetch().prefetch_related(Prefetch("lines", lines))
    if text.strip():
        found = found.filter(
            Q(number__icontains=text.strip())
            | Q(customer__name__icontains=text.strip())
            | Q(customer__contact__icontains=text.strip())
        )
    orders = list(found[:SHOWN_MAX])
    to_pay = _to_pay(orders, taxed or stand.tax_on(timezone.localdate()))
    ready = _reserved(orders)
    return [_pickup(order, to_pay[order.pk], ready[order.pk]) for order in orders]


def _pickup(order: Order, to_pay_cents: int, ready: dict[Place, Counter[OrderLine]]) -> Pickup:
    left = {
        line: line.to_fill
        for line in order.lines.all()
        if line.kind == OrderLine.Kind.PACKED and line.to_fill
    }
    at = [
        ReadyAt(place, _("all of it") if pieces == left else _in_words(pieces))
        for place, pieces in ready.items()
    ]
    return Pickup(
        order=order,
        text=_in_words(left),
        total_cents=order.total_cents,
        to_pay_cents=to_pay_cents,
        ready=at,
        is_ready=any(pieces == left for pieces in ready.values()),
    )


def _in_words(pieces: "dict[OrderLine, int] | Counter[OrderLine]") -> str:
    return ", ".join(
        _("%(count)s × %(what)s") % {"count": count, "what": line.description}
        for line, count in pieces.items()
    )


def _reservations(where: Q) -> QuerySet[Reservation]:
    return (
        Reservation.objects.filter(where, line__kind=OrderLine.Kind.PACKED)
        .select_related("line", "balance__place", "balance__lot")
        .order_by("balance__place__name", "line", "id")
    )


def _reserved(orders: Sequence[Order]) -> dict[int, dict[Place, Counter[OrderLine]]]:
    found: dict[int, dict[Place, Counter[OrderLine]]] = {order.pk: {} for order in orders}
    for row in _reservations(Q(line__order__in=orders)):
        if not row.lot.is_on_hold:
            at = found[row.line.order_id].setdefault(row.balance.place, Counter())
            at[row.line] += row.quantity
    return found


def lines_at(order: Order, place: Place) -> list[PickupLine]:
    """Return what is left of an order that can be handed over at a place."""
    free = {item: there[0] or 0 for item, there in stand.pieces_at(place).items()}
    rows: dict[int, list[Reservation]] = defaultdict(list)
    for row in _reservations(Q(line__order=order)):
        rows[row.line_id].append(row)
    found = []
    for line in order.lines.select_related("product__item").filter(kind__in=rules.KINDS):
        if not line.to_fill:
            continue
        here, held, elsewhere = 0, 0, Counter[Place]()
        for row in rows[line.pk]:
            if row.lot.is_on_hold:
                held += row.quantity
            elif row.balance.place_id == place.pk:
                here += row.quantity
            else:
                elsewhere[row.balance.place] += row.quantity
        item = line.product.item_id if line.product else 0
        free_here = min(free.get(item, 0), max(0, line.to_fill - here))
        free[item] = free.get(item, 0) - free_here
        found.append(PickupLine(line, here, free_here, list(elsewhere.items()), held))
    return found


def place_of(order: Order, places: Sequence[Place]) -> str:
    """Return the code of the place, of these, at which most of an order is; empty if nowhere."""
    there: Counter[str] = Counter()
    for row in _reservations(Q(line__order=order, balance__place__in=places)):
        there[row.balance.place.code] += row.quantity
    return max(there, key=lambda code: there[code], default="")


def may_look_at(order: Order, person: Person) -> bool:
    """Tell whether a person may look at an order that is fetched, and so at who its buyer is.

    Until it is handed over it is the business of whoever sells; then of those who see buyers, and
    of where it was fetched.
    """
    return rules.may_be_fetched(order) and (
        order.status in Order.OPEN_STATUSES
        or person.has_perm(VIEW_CUSTOMERS)
        or fetched(order, person).exists()
    )


def fetched(order: Order, person: Person) -> QuerySet[StandSale]:
    """Return what was fetched of an order where a person may act, the last one first."""
    sales = StandSale.objects.filter(receipt__order=order).exclude(
        receipt__order__channel=Order.Channel.STAND
    )
    if not own_places.has_every(person):
        sales = sales.filter(place__kind__in=own_places.KINDS)
    return sales.select_related("receipt__customer", "place", "sold_by").order_by("-id")


# What is to pay.


def _to_pay(orders: Sequence[Order], taxed: TaxAtStand) -> dict[int, int]:
    """Return what each order comes to with tax, when the rest of it is fetched today, less what
    was paid before."""
    lines = _amounts(orders, taxed)
    customers = [order.customer for order in orders if order.customer]
    house, usual = taxed.house, taxed.usual
    certificates = ExemptionCertificate.objects.filter(customer__in=customers).longest_by_customer(
        timezone.localdate()
    )
    paid = _MoneyLeft(customers)
    to_pay = {}
    for order in orders:
        customer = order.customer
        certificate = certificates.get(order.customer_id or 0)
        treated = tax.exempted(usual, certificate.reason_in_words) if certificate else usual
        billed = tax.tax_invoice_lines(
            lines[order.pk],
            tax.BY_RATE if customer and customer.gets_data else house.tax_rounding,
            treatments=treated,
            prices_include_tax=house.prices_include_tax,
        )
        total_cents = sum(each.total_cents for each in billed)
        to_pay[order.pk] = max(0, total_cents - paid.of(order))
    return to_pay


def _amounts(orders: Sequence[Order], taxed: TaxAtStand) -> dict[int, list[tax.TaxLine]]:
    """Return what is to be billed of each order: what is left, and what is on no bill yet."""
    given: Counter[int] = Counter()
    made: dict[int, list[tax.TaxLine]] = {order.pk: [] for order in orders}
    handed = (
        FulfilmentLine.objects.not_taken_back()
        .filter(fulfilment__order__in=orders)
        .annotate(is_billed=Exists(InvoiceLine.objects.filter(fulfilment_line=OuterRef("pk"))))
        .select_related("order_line__product")
    )
    for row in handed:
        line = row.order_line
        again_cents = share_cents(row.amount_cents, row.sent_again, row.quantity)
        given[line.pk] += row.amount_cents - again_cents
        if not row.is_billed and line.kind in rules.KINDS:
            made[line.order_id].append(tax.TaxLine(_taxed_as(line, taxed), row.amount_cents))
    for order in orders:
        for line in order.lines.all():
            if line.kind in rules.KINDS and line.to_fill:
                cents = line.amount_cents - given[line.pk]
                made[order.pk].append(tax.TaxLine(_taxed_as(line, taxed), cents))
    return made


def _taxed_as(line: OrderLine, taxed: TaxAtStand) -> str:
    return taxed.class_of(line.product) if line.product else TaxRate.Goods.FREIGHT


class _MoneyLeft:
    """What customers paid that no bill uses."""

    def __init__(self, customers: Iterable[Customer]) -> None:
        keys = {customer.pk for customer in customers}
        # What is open on bills is what is owed and what money on account would pay of it. Both are
        # kept; payments and what they were put to would be all that there ever were.
        is_open = Invoice.objects.open().filter(customer__in=keys).order_by()
        open_cents = is_open.values_list("customer").annotate(cents=Sum("open_cents"))
        balances = CustomerBalance.objects.filter(customer__in=keys).order_by()
        owed_cents = balances.values_list("customer").annotate(cents=-Sum("owed_cents"))
        self._there = Counter[int | None]()
        for customer, cents in open_cents.union(owed_cents, all=True):
            self._there[customer] += cents
        have_some = [customer for customer, cents in self._there.items() if cents > 0]
        of_them = Payment.objects.filter(customer__in=have_some)
        left = of_them.filter(reverses=None, reversed_by__reverses=None).with_left().order_by()
        self._left: Counter[tuple[int | None, int | None]] = Counter()
        for payment in left.filter(left_cents__gt=0):
            self._left[payment.customer_id, payment.order_id] += payment.left_cents

    def of(self, order: Order) -> int:
        """Return what may pay for an order: kept for it, or for no order."""
        customer = order.customer_id or 0
        kept = self._left[customer, order.pk] + self._left[customer, None]
        return max(0, min(kept, self._there[customer]))

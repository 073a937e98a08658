"""A house whose sales are few enough to be added up by hand, on one fixed day."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine

from apiary_sales.billing.services import invoices, payments
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import TaxRate
from inventory.bottling.models import Product
from inventory.shared import days
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.services import drums
from tests import builders

TODAY = date(2026, 11, 20)
NOON = datetime(2026, 11, 20, 12, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@dataclass
class House:
    """What was sold is in `test_sales_frames.py`, worked out by hand."""

    stand: Place
    pounds: Product
    quarts: Product
    known: Lot
    unknown: Lot
    shop: Customer
    packer: Customer
    taken_back: Fulfilment


@pytest.fixture
def house(db) -> House:
    return sell_a_little()


@pytest.fixture
def billed(house) -> House:
    """The same house; the shop was billed with a tax and has paid a part."""
    TaxRate.objects.create(
        name="State sales tax", goods="honey", percent=Decimal(5), valid_from=date(2026, 1, 1)
    )
    owner = builders.person()
    order = Order.objects.get(customer=house.shop)
    invoices.issue(order=order, issued_by=owner, key=builders.new_key())
    payments.receive(
        customer=house.shop,
        amount_cents=10_000,
        method="check",
        received_by=owner,
        key=builders.new_key(),
    )
    return house


def sell_a_little() -> House:
    """Four sales and one that was taken back."""
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    pounds = builders.product("Pound jar", "1", code="one-pound")
    quarts = builders.product("Quart jar", "3", code="three-pound", brimful_ml=Decimal(1050))
    # 100 jars that had cost 300 cents each, of the season before; 50 of which nobody knows it.
    known = builders.packed_lot(pounds, stand, 100, code="P25-001", cost_cents=30_000)
    unknown = builders.packed_lot(quarts, stand, 50, code="P26-001")
    Lot.objects.filter(pk=known.pk).update(season=2025, made_on=date(2025, 9, 1))
    shop = builders.customer("Corner Grocery")
    packer = builders.customer("Prairie Packers", kind="bulk", tier="bulk")

    sell(stand, jars(pounds, 10, "8.00"), on=date(2026, 8, 5))
    order(
        shop,
        "shop",
        jars(pounds, 24, "6.50", discount_cents=600),
        jars(quarts, 12, "17.00"),
        on=date(2026, 8, 20),
    )
    back = sell(stand, jars(pounds, 5, "8.00"), on=date(2026, 9, 10))
    orders.take_back(
        fulfilment=back, taken_by=builders.person(), key=builders.new_key(), reason="Leaking lids"
    )
    order(
        packer,
        "bulk",
        drum("d-1", grams=295_000, cost_cents=59_000),
        LineWanted(kind=OrderLine.Kind.DRUM_DEPOSIT, quantity=1, unit_price=Decimal(25)),
        on=date(2026, 10, 2),
    )
    return House(stand, pounds, quarts, known, unknown, shop, packer, back)


def jars(product: Product, pieces: int, price: str, **more) -> LineWanted:
    return LineWanted(
        kind=OrderLine.Kind.PACKED,
        quantity=pieces,
        unit_price=Decimal(price),
        product=product,
        **more,
    )


def drum(number: str, *, grams: int, cost_cents: int | None, price: str = "2.15") -> LineWanted:
    """Fill a drum with honey of its own lot and want all of it."""
    owner = builders.person()
    tank = builders.place(f"tank-{number}", name=f"Tank for {number}")
    builders.lot_in(tank, grams, cost_cents=cost_cents)
    full = builders.place(number, Place.Kind.DRUM, name=number.title(), tare_grams=18_000)
    drums.fill(
        tank=tank,
        drum=full,
        gross_grams=18_000 + grams,
        filled_on=date(2026, 7, 20),
        recorded_by=owner,
        key=builders.new_key(),
    )
    return LineWanted(
        kind=OrderLine.Kind.HONEY,
        quantity=Balance.objects.in_vessel(full).quantity,
        unit_price=Decimal(price),
        drum=full,
    )


def sell(place: Place, *lines: LineWanted, on: date) -> Fulfilment:
    return orders.sell_now(
        customer=None,
        lines=lines,
        place=place,
        created_by=builders.person(),
        key=builders.new_key(),
        sold_on=on,
    )


def order(customer: Customer, channel: str, *lines: LineWanted, on: date) -> Fulfilment:
    taken = orders.take(
        customer=customer,
        channel=channel,
        lines=lines,
        created_by=builders.person(),
        key=builders.new_key(),
        placed_on=on,
    )
    return orders.fulfil(
        order=taken, filled_by=builders.person(), key=builders.new_key(), filled_on=on
    )


def post_as_before(item: Item, place: Place, quantity: int, day: date) -> None:
    """Write an entry as a version before 0.4.0 did: a place could have less than nothing."""
    posting = Posting.objects.create(
        kind=Posting.Kind.PART_RECEIPT,
        occurred_at=days.moment(day),
        recorded_by=builders.person(),
        idempotency_key=builders.new_key(),
    )
    supplier = Place.objects.outside(Place.Kind.SUPPLIER)
    for at, change in ((place, quantity), (supplier, -quantity)):
        posting.lines.create(item=item, place=at, quantity=change)

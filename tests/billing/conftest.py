"""A house with a stand, two products, a shop and a tax, on one fixed day."""

import html
import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apiary_sales.billing.services import invoices, payments
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import PiecePrice, TaxRate
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders

TODAY = date(2026, 9, 10)
NOON = datetime(2026, 9, 10, 12, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(NOON, tick=False):
        yield


@pytest.fixture
def house(db):
    house = House(
        name="Hollow Oak Honey House",
        street="418 Ridge Road",
        city="Millbrook",
        region="IA",
        postal_code="50001",
        phone="555-0142",
        tax_number="00-0000042",
        payment_note="Check to Hollow Oak Honey House, or transfer to account 000 111.",
    )
    house.save()
    return house


@pytest.fixture
def shelf(house):
    return builders.place("shelf", Place.Kind.SHELF, name="Packing shelf")


@pytest.fixture
def stand(house):
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def pounds(shelf, stand):
    """The one-pound jar: 8.00 at the stand, with 96 on the shelf and 24 at the stand."""
    product = builders.product("One pound", code="one-pound", low_stock_pieces=12)
    builders.packed_lot(product, shelf, 96, code="P26-001")
    builders.packed_lot(product, stand, 24, code="P26-002")
    _price(product, 800)
    return product


@pytest.fixture
def quarts(shelf, stand):
    """The three-pound jar: 21.00 at the stand, with 36 on the shelf and 6 at the stand."""
    product = builders.product("Three pound", "3", code="three-pound", brimful_ml=Decimal(1050))
    builders.packed_lot(product, shelf, 36, code="P26-003")
    builders.packed_lot(product, stand, 6, code="P26-004")
    _price(product, 2100)
    return product


def _price(product, cents):
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=cents, valid_from=date(2026, 1, 1)
    )


@pytest.fixture
def shop(house):
    return builders.customer(
        "Corner Grocery",
        street="2 Main Street",
        city="Millbrook",
        region="IA",
        postal_code="50001",
        terms_days=30,
    )


@pytest.fixture
def honey_tax(house):
    return TaxRate.objects.create(
        name="State sales tax", goods="honey", percent=Decimal("6.25"), valid_from=TODAY
    )


def jars(product, pieces, price="6.00", **more):
    return LineWanted(
        kind=OrderLine.Kind.PACKED,
        quantity=pieces,
        unit_price=Decimal(price),
        product=product,
        **more,
    )


def order_of(customer, *lines, fill=True, **more):
    """Take an order and, unless told otherwise, hand over all of it."""
    owner = builders.person()
    order = orders.take(
        customer=customer,
        channel=Order.Channel.SHOP,
        lines=lines,
        created_by=owner,
        key=builders.new_key(),
        **more,
    )
    if fill:
        orders.fulfil(order=order, filled_by=owner, key=builders.new_key())
    return order


def invoice_of(customer, *lines, **more):
    """Invoice an order that was handed over."""
    order = order_of(customer, *lines, **more)
    return invoices.issue(order=order, issued_by=builders.person(), key=builders.new_key())


def pay(customer, cents, **more):
    return payments.receive(
        customer=customer,
        amount_cents=cents,
        method=more.pop("method", "check"),
        received_by=builders.person(),
        key=more.pop("key", None) or builders.new_key(),
        **more,
    )


def days(number):
    return timedelta(days=number)


def errors_in(response):
    """Return the sentences of the error summary of a page, in order."""
    text = response.content.decode()
    summary = re.search(r'<div class="error-summary".*?</div>', text, re.DOTALL).group()
    items = re.findall(r"<li>(.*?)</li>", summary, re.DOTALL)
    texts = [html.unescape(re.sub(r"<[^>]+>", "", item)) for item in items]
    return [" ".join(text.split()) for text in texts]


def filled_in(response):
    """Return what a form would send as the page filled it in."""
    form = response.context["form"]
    filled = {}
    for bound in form:
        value = bound.initial
        if isinstance(value, tuple):
            filled[bound.html_name], filled[f"{bound.html_name}_unit"] = value
        elif value is not None and value is not False:
            filled[bound.html_name] = bound.field.prepare_value(value)
    total_cents = response.context.get("total_cents")
    return filled if total_cents is None else {**filled, "expected_total_cents": total_cents}


def queries_of(client, address):
    """Return how many queries a page takes."""
    with CaptureQueriesContext(connection) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def words_of(text):
    """Return the words of a page or paper without its markup, single-spaced."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())

"""The main job in a house that measures in kilograms and euros, and in one of pounds and dollars.

Fields are found by their names, since the pages are in two languages. What is expected on the
screen is worked out by hand from what is typed.
"""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from apiary_sales.billing.models import EntryLine, Invoice
from apiary_sales.billing.queries import books
from apiary_sales.orders.services import orders, quotes
from apiary_sales.pricing.models import PiecePrice
from inventory.bottling.models import BottlingRun
from inventory.shared.models import House
from inventory.stock.models import Balance, Place
from inventory.stock.services import drums
from tests import builders
from tests.browser import tills

NBSP = "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class TwoHouses:
    """What is typed in one of the houses, and what is seen then."""

    locale: str
    house: dict
    received: str
    received_seen: str
    drawn: str
    drawn_seen: str
    price: str
    price_seen: str
    asked: tuple[str, str]
    quoted_seen: tuple[str, str]
    jar_cents: int
    cash_seen: str
    cash_cents: int


METRIC = TwoHouses(
    locale="es-ES",
    house={
        "weight_unit": "kg",
        "currency": "EUR",
        "language": "es",
        "decimal_sign": ",",
        "first_weekday": 1,
        "market": "eu",
        "smallest_coin_cents": 5,
        "paper": "A4",
    },
    received="90,5",
    received_seen="90,5 kg",
    drawn="24,4",
    drawn_seen="24,4 kg",
    price="4,25",
    price_seen=f"4,25{NBSP}€",
    # One drum of 300 kg, at 4.25.
    asked=("300", "kg"),
    quoted_seen=("300,00 kg", f"1.275,00{NBSP}€"),
    # 7.98 is paid with 8.00 where five cents are the smallest coin.
    jar_cents=798,
    cash_seen=f"8,00{NBSP}€",
    cash_cents=800,
)
AMERICAN = TwoHouses(
    locale="en-US",
    house={},
    received="90.5",
    received_seen="90.5 lb",
    drawn="53.8",
    drawn_seen="53.8 lb",
    price="2.15",
    price_seen="$2.15",
    # 300 kg are 661.3868 lb, at 2.15 that is 1,421.98; 661.39 × 2.15 would be 1,421.99.
    asked=("661", "lb"),
    quoted_seen=("661.387 lb", "$1,421.98"),
    jar_cents=798,
    cash_seen="$7.98",
    cash_cents=798,
)


def fill(page, **typed):
    for name, value in typed.items():
        page.locator(f"main [name={name}]").first.fill(value)


def send(page):
    """Press the main button of the page."""
    page.locator("main button.button:not(.button-quiet):visible").last.click()


@pytest.fixture
def goods(transactional_db):
    """A tank, a drum of 300 kg net, jars of 500 g at the stand, and who buys."""

    def make(house):
        House(name="Marsh Road Honey", **house).save()
        builders.place("tank-1", name="Tank 1")
        full = builders.place("tank-2", name="Tank 2")
        builders.lot_in(full, 300_000, cost_cents=52_000)
        drums.fill(
            tank=full,
            drum=builders.place("drum-1", Place.Kind.DRUM, name="Drum 1"),
            gross_grams=318_000,
            tare_grams=18_000,
            recorded_by=builders.person("owner"),
            key=builders.new_key(),
        )
        stand = builders.place("stand", Place.Kind.STAND, name="Stand")
        product = builders.product("Jar", "500", "g", code="jar")
        builders.packed_lot(product, stand, 24)
        return product, builders.customer("Prairie Packers", kind="bulk", tier="bulk")

    return make


@pytest.mark.parametrize("told", [METRIC, AMERICAN], ids=["metric", "american"])
def test_the_main_job_is_done_in_the_units_and_signs_of_the_house(goods, sign_in, axe, told):
    product, buyer = goods(told.house)
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=told.jar_cents, valid_from=date(2020, 1, 1)
    )
    page = sign_in("owner", locale=told.locale)

    # Honey comes in, by the scale.
    page.goto("/honey/receive/")
    page.locator("[name=place]").select_option("tank-1")
    fill(page, floral_source="Romero", moisture=f"17{told.price[1]}4", weight=told.received)
    expect(page.locator("[name=weight_unit]")).to_have_value(told.house.get("weight_unit", "lb"))
    send(page)
    expect(page.get_by_role("status")).to_contain_text(told.received_seen)

    # Jars are filled from it.
    page.goto("/bottling/plan/")
    page.locator("[name=source]").select_option("tank-1")
    fill(page, pieces="48")
    send(page)
    run = BottlingRun.objects.get()
    page.goto(f"/bottling/runs/{run.number}/record/")
    fill(page, pieces_filled="48", drawn=told.drawn)
    send(page)
    page.goto(f"/bottling/runs/{run.number}/")
    expect(page.locator("main")).to_contain_text(told.drawn_seen)

    # Honey in drums gets its price, and a buyer a quote.
    page.goto("/prices/drums/set/")
    fill(page, price_per_pound=told.price, moisture_percent_max="30")
    send(page)
    expect(page.locator("main")).to_contain_text(told.price_seen)
    amount, unit = told.asked
    page.goto(f"/selling/quotes/new/?amount={amount}&unit={unit}")
    page.locator("[name=customer]").select_option(label="Prairie Packers")
    weight, total = told.quoted_seen
    expect(page.locator("#total")).to_contain_text(weight)
    expect(page.locator("#total")).to_contain_text(total)
    axe(page)
    send(page)
    quote = buyer.orders.get()

    # A jar is sold at the stand, in cash.
    page.goto("/stand/")
    tills.open_till(page)
    tills.tile(page, "jar").click()
    page.locator("[data-pay=cash]").click()
    expect(page.locator("[data-part=total-again]")).to_have_text(told.cash_seen)
    page.locator("[data-act=finish]").click()
    tills.wait_until(lambda: Invoice.objects.filter(stand_sale__isnull=False).exists())

    # The drum is handed over and billed.
    owner = builders.person("owner")
    order = quotes.accept(order=quote, accepted_by=owner, key=builders.new_key())
    orders.fulfil(order=order, filled_by=owner, key=builders.new_key())
    page.goto(f"/money/invoices/new/{order.number}/")
    expect(page.locator("main")).to_contain_text(total)
    send(page)
    invoice = Invoice.objects.get(customer=buyer)
    page.goto(f"/money/invoices/{invoice.pk}/")
    expect(page.locator("main")).to_contain_text(weight)
    expect(page.locator("main")).to_contain_text(total)
    axe(page)

    cash = EntryLine.objects.filter(account="cash").values_list("amount_cents", flat=True)
    assert sum(cash) == told.cash_cents
    price = Decimal(told.price.replace(",", "."))
    assert invoice.lines.get(unit=told.asked[1]).unit_price == price
    assert Balance.objects.get(place__code="drum-1").quantity == 0
    assert list(books.faults()) == []

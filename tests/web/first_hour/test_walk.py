"""Two whole houses, one in pounds and one in kilograms, from nothing to their first run."""

from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.core.management import call_command

from apiary_sales.accounts.models import SetUp
from apiary_sales.billing.models import Invoice, OpeningAmount
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice, TaxRate
from inventory.bottling.models import PackagingPart, Size
from inventory.shared.models import House
from inventory.stock.models import Balance, Counter, Item, Lot, Place
from inventory.stock.queries.find_lots import find_lots
from tests.web.first_hour import walking

pytestmark = pytest.mark.django_db

# Fewer than the house may take: 25.
PAGES_MAX = 25
SHOPS = [f"Shop {number}" for number in range(1, 21)]


@pytest.fixture(autouse=True)
def _in_august():
    with time_machine.travel("2026-08-14 15:00:00+00:00", tick=False):
        yield


def set_up(walker, house: dict) -> None:
    """Go through all pages with what a house of this kind types."""
    walker.send(name=house["name"], street="1 Linden Way", city="Olmo", begins_on="2026-08-01")
    walker.send("propose", market=house["market"])
    walker.send()
    walker.send(tax__0__percent=house["honey_tax"], tax__1__percent=house["other_tax"])
    walker.send(
        tanks__0__shape="upright-cone",
        tanks__0__diameter=house["diameter"],
        tanks__0__wall=house["wall"],
        tanks__0__cone=house["cone"],
        tanks__1__capacity=house["capacity"],
    )
    walker.send(count="6", tare=house["tare"])
    walker.send(sizes=house["sizes"])
    walker.send()
    assert PackagingPart.objects.count() >= 12
    prices = {}
    for size, (stand, shop) in zip(Size.objects.all(), house["prices"], strict=True):
        row = walker.row_of(size.name)
        prices |= {f"{row}__stand": stand, f"{row}__shop": shop}
    walker.send(**prices)
    walker.send(
        people__0__name="Jo Reyes", people__0__username="jo", people__0__password="lavender honey"
    )
    walker.send(labour="18")
    tank, other = walker.row_of("Tank 1"), walker.row_of("Tank 2")
    drum = walker.row_of("D-001")
    walker.send(
        floral="Clover",
        moisture=house["moisture"],
        **{f"{tank}__depth": house["depth"], f"{other}__weight": house["in_tank"]},
        **{f"{drum}__weight": house["in_drum"], f"{drum}__is_estimated": "on"},
    )
    # Six rows are shown; the list of ten codes is pasted.
    size = Size.objects.first()
    lines = [
        f"OLD-{number}\t{size.name}\t{number * 6}\tShelf\t2026-07-01" for number in range(1, 11)
    ]
    walker.send("read", pasted="\n".join(lines))
    walker.send()
    parts = {}
    for part in PackagingPart.objects.all():
        row = walker.row_of(part.name)
        parts |= {f"{row}__pieces": "240", f"{row}__each": house["each"]}
    walker.send(**parts)
    lines = [f"{name};;;;" for name in SHOPS]
    lines[0] = f"Shop 1;shop1@shops.example;1017;{house['owed']};2026-07-20"
    walker.send("read", pasted="\n".join(lines))
    walker.send(cash=house["cash"])
    walker.send(no__0__first="1018", no__3__first="350")


def made_as_typed(walker, house: dict) -> None:
    assert walker.address == "/set-up/made/"
    assert walker.pages <= PAGES_MAX
    assert (Size.objects.count(), Customer.objects.count()) == (6, 20)
    assert Lot.objects.filter(kind=Lot.Kind.PACKED).count() == 10
    assert Place.objects.filter(kind=Place.Kind.DRUM).count() == 6
    assert House.current().name == house["name"]
    assert Invoice.objects.get().open_cents == 24_050
    assert OpeningAmount.objects.get().amount_cents == 15_000
    assert Counter.objects.get(series="invoice F26").last == 1_017
    assert PiecePrice.objects.filter(valid_from=date(2026, 8, 1)).count() == 12
    assert {mark.is_done for mark in walker.response.context["marks"]} == {True}
    call_command("verify_ledger")
    [match] = find_lots("old-7").matches
    assert (match.lot.code, match.is_meant) == ("OLD-7", True)
    assert Balance.objects.get(lot=match.lot, quantity__gt=0).quantity == 42


def test_a_house_in_pounds_is_ready_within_25_pages(client):
    house = {
        "name": "Olmo Hill Honey",
        "market": "us",
        "honey_tax": "0",
        "other_tax": "6.25",
        "diameter": "36",
        "wall": "48",
        "cone": "12",
        "capacity": "100",
        "tare": "38",
        "sizes": ["half-pound", "1-lb", "2-lb", "quart", "half-gallon", "gallon"],
        "prices": [("6", "4"), ("10", "7"), ("18", "13"), ("25", "18"), ("45", "34"), ("80", "62")],
        "moisture": "17.4",
        "depth": "30",
        "in_tank": "500",
        "in_drum": "640",
        "each": "0.385",
        "owed": "240.50",
        "cash": "150.00",
    }
    walker = walking.begin(client)

    set_up(walker, house)

    made_as_typed(walker, house)
    now = House.current()
    assert (now.currency, now.weight_unit, now.paper) == ("USD", "lb", "letter")
    assert [(rate.goods, rate.percent) for rate in TaxRate.objects.all()] == [
        ("other", Decimal("6.25"))
    ]
    # 640 lb at 453.59237 g, and the same for 500 lb.
    drum = Balance.objects.get(place__code="D-001")
    assert drum.quantity == 290_299
    assert Balance.objects.get(place__name="Tank 2").quantity == 226_796
    # 36 in across, 12 in of cone (a third of its cylinder) and 18 in of wall below a dip of 30 in:
    # 1017.88 in² × 22 in = 22393 in³ = 366.96 L, at about 1.41 kg/L near 90 °F (by hand).
    assert 500_000 < Balance.objects.get(place__name="Tank 1").quantity < 540_000
    assert Lot.objects.filter(note__contains="Estimated").count() == 1


def test_a_house_in_kilograms_is_ready_within_25_pages(client):
    house = {
        "name": "Miel del Olmo",
        "market": "eu",
        "honey_tax": "4",
        "other_tax": "21",
        "diameter": "90",
        "wall": "120",
        "cone": "30",
        "capacity": "400",
        "tare": "17,5",
        "sizes": ["250-g", "350-g", "500-g", "1-kg", "2-5-kg", "5-kg"],
        "prices": [
            ("4,50", "3,20"),
            ("5,90", "4,10"),
            ("7,80", "5,60"),
            ("13,90", "10"),
            ("32", "24"),
            ("60", "46"),
        ],
        "moisture": "17,4",
        "depth": "80",
        "in_tank": "250",
        "in_drum": "290",
        "each": "0,385",
        "owed": "240,50",
        "cash": "150,00",
    }
    walker = walking.begin(client)

    set_up(walker, house)

    made_as_typed(walker, house)
    now = House.current()
    assert (now.currency, now.weight_unit, now.paper) == ("EUR", "kg", "A4")
    assert (now.prices_include_tax, now.first_weekday) == (True, 1)
    assert Balance.objects.get(place__code="D-001").quantity == 290_000
    assert Balance.objects.get(place__name="Tank 2").quantity == 250_000
    # 90 cm across: 6361.7 cm² × (10 + 50) cm = 381.7 L, at about 1.41 kg/L near 32 °C (by hand).
    assert 530_000 < Balance.objects.get(place__name="Tank 1").quantity < 545_000
    # 240 of each at 0.385, rounded for each part.
    parts = Balance.objects.filter(item__kind=Item.Kind.PART, quantity__gt=0)
    assert {balance.quantity for balance in parts} == {240}


def test_the_first_run_is_offered_and_the_steps_leave_the_first_page(client):
    walker = walking.begin(client)
    assert client.get("/").context["steps"]

    walker.open("/set-up/made/").send()

    assert walker.address == "/"
    assert walker.response.context["steps"] == []
    assert SetUp.current().ended_at is not None

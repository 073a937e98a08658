"""No page, answer, table or paper shows a role a figure or a name that it may not see."""

import io
import re
from datetime import time
from decimal import Decimal
from functools import cache

import pytest
from django.http import HttpResponse
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader

from apiary_sales.accounts.models import User
from apiary_sales.accounts.roles import ROLE_PERMISSIONS
from apiary_sales.billing.services import invoices, market_days, payments, stand
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import consignments, orders
from apiary_sales.pricing.services import prices, private_labels, seasons, weight_prices
from inventory.bottling.models import PackagingPart
from inventory.bottling.services import products
from inventory.bottling.services.products import PartUse
from inventory.stock.models import Place, ProductionSettings
from inventory.stock.services import drums, stores
from tests import builders, print_once
from tests.inventory import bottling_room
from tests.upgrade import walk

pytestmark = pytest.mark.django_db

# What the house below has that needs a permission to be seen, as pages and programs write it.
FIGURES = {
    "pricing.view_costs": (
        # What honey cost, an hour of work, and half an hour of it in a run.
        *("1,234.57", "1234.57", "123457"),
        *("98.76", "9876"),
        *("49.38", "4938"),
        # What jars, goods and the season cost; what one jar cost.
        *("385.55", "38555", "0.7711"),
        *("222.29", "22229"),
        # What was sold at a market cost, and what was earned with it in one hour.
        *("333.31", "33331", "488.83", "48883"),
        *("7,777.33", "777733"),
    ),
    # Of shops, distributors and packers; of drums; of honey by weight.
    "pricing.view_trade_prices": (
        *("45.67", "4567", "43.79", "4379", "41.93", "4193"),
        *("23.4571", "17.8913"),
    ),
    "customers.view_customers": ("unmistakable", "608 555 0147", "Farthingale", "Perpetua"),
    "billing.view_money": ("311.13", "31113"),
}
# Where the owner finds each of them.
SHOWN_TO_THE_OWNER = {
    "inventory:run_detail": ("49.38",),
    "inventory:production_settings": ("98.76",),
    "inventory:goods_list": ("222.29",),
    "api:goods-in-stock": ("22229",),
    "billing:market_day": ("333.31", "488.83"),
    "billing:market_days": ("488.83",),
    "api:market-days": ("33331", "48883"),
    "api:market-day": ("33331", "48883"),
    "api:markets": ("48883",),
    "api:production-settings": ("9876",),
    "pricing:honey_cost": ("7,777.33",),
    "pricing:prices": ("45.67", "43.79", "41.93", "Unmistakable"),
    "api:prices": ("4567", "4379", "4193", "Unmistakable"),
    "pricing:bulk_prices": ("23.4571",),
    "pricing:weight_prices": ("17.8913",),
    "customers:detail": ("608 555 0147", "Farthingale", "Perpetua"),
    "billing:payment_list": ("311.13",),
}
# Among the keys of forms, the codes of pictures and the marks of versions are figures by chance.
CHANCE = re.compile(r"<svg.*?</svg>|<script.*?</script>|[\w-]{16,}|(?<=value=\")\w{12,}", re.DOTALL)


@pytest.fixture(autouse=True, scope="module")
def _each_paper_once():
    with print_once.each_paper_once():
        yield


def jar_line(product, pieces: int) -> LineWanted:
    return LineWanted(
        kind=OrderLine.Kind.PACKED,
        product=product,
        quantity=pieces,
        unit_price=Decimal("45.67"),
    )


def make_house() -> None:
    """A house that bought honey and parts, filled jars, and sold some to one shop."""
    owner, today = builders.person("owner"), timezone.localdate()
    for role in User.Role.values:
        builders.person(role)
    by = {"recorded_by": owner}
    rate = ProductionSettings.current()
    rate.labour_cents_per_hour = 9876
    rate.save()
    room = bottling_room.set_up(cost_cents=None, pieces=0, cases=0)
    for part, pieces, cents in ((room.jar, 500, 38_555), (room.lid, 500, 7), (room.case, 50, 5)):
        bottling_room.receive(part, room.shelf, pieces, cents)
    room.tank = builders.place("tank-2", name="Tank 2")
    builders.bought_lot(room.tank, 200_000, cost_cents=123_457)
    run = bottling_room.recorded(room, labour_minutes=30)
    counter = builders.place("stand", Place.Kind.STAND, name="Stand")
    stores.transfer(
        item=room.product.item,
        lot=run.packed_lot,
        source=room.shelf,
        target=counter,
        pieces=24,
        key=builders.new_key(),
        **by,
    )
    builders.place("drum-1", Place.Kind.DRUM, name="Drum 1", tare_grams=18_000)
    full = builders.place("drum-2", Place.Kind.DRUM, name="Drum 2", tare_grams=18_000)
    drums.fill(tank=room.tank, drum=full, gross_grams=68_000, key=builders.new_key(), **by)
    builders.goods_lot(builders.goods(), counter, cost_cents=22_229)
    seasons.add_expense(season=2026, category="feed", amount_cents=777_733, key="feed")
    tiers = {"stand": 12_000, "shop": 4567, "distributor": 4379, "bulk": 4193}
    for tier, cents in tiers.items():
        prices.set_piece(product=room.product, tier=tier, piece_cents=cents, valid_from=today)
    prices.set_bulk(price_per_pound=Decimal("23.4571"), valid_from=today)
    weight_prices.set_price(tier="shop", price_per_pound=Decimal("17.8913"), valid_from=today)
    shop = builders.customer(
        "Unmistakable Ltd",
        contact="Perpetua",
        city="Farthingale",
        phone="608 555 0147",
        email="orders@unmistakable.example",
    )
    _sell(owner, room, shop)
    _go_to_market(owner, room.shelf)
    label = builders.part("Own label", PackagingPart.Kind.LABEL)
    own = products.save_honey(
        size=room.size,
        new_variety="Buckwheat",
        new_floral_source="buckwheat",
        new_brand="Hollow",
        parts=[PartUse(label)],
    )
    private_labels.set_customer(brand=own.brand, customer=shop)


def _sell(owner, room, shop) -> None:
    order = orders.take(
        customer=shop,
        channel="shop",
        lines=[jar_line(room.product, 12)],
        created_by=owner,
        key=builders.new_key(),
    )
    orders.fulfil(order=order, filled_by=owner, key=builders.new_key())
    invoices.issue(order=order, issued_by=owner, key=builders.new_key())
    payments.receive(
        customer=shop, amount_cents=31_113, method="check", received_by=owner, key="part-paid"
    )
    shelf = consignments.set_up(customer=shop, key="shelf")
    consignments.agree_price(shelf=shelf, product=room.product, unit_price=Decimal("45.67"))
    consignments.deliver_now(
        shelf=shelf, lines=[PiecesWanted(room.product, 3)], delivered_by=owner, key="delivery"
    )


def _go_to_market(owner, shelf) -> None:
    """One lantern of 333.31 is sold for 822.14 at a market, in one hour."""
    van, lantern = builders.place("van", Place.Kind.VAN), builders.goods("Lantern")
    builders.goods_lot(lantern, van, 1, cost_cents=33_331)
    market_day = market_days.plan(
        place=van,
        day=timezone.localdate(),
        market="Mill Square",
        opens_at=time(8),
        closes_at=time(13),
        source=shelf,
        lines=[PiecesWanted(lantern, 1)],
        planned_by=owner,
        key="market",
    )
    sold = LineWanted(
        kind=OrderLine.Kind.PACKED, product=lantern, quantity=1, unit_price=Decimal("822.14")
    )
    stand.sell(
        lines=[sold],
        place=van,
        payments=[PaymentMade("card")],
        sold_by=owner,
        key="lantern",
    )
    market_days.close(market_day=market_day, labour_minutes=60)


def hidden_from(role: str) -> list[str]:
    """Return the figures and names that a role may not see, by the table of roles."""
    return [
        figure
        for permission, figures in FIGURES.items()
        if permission not in ROLE_PERMISSIONS[role]
        for figure in figures
    ]


def text_of(answer: HttpResponse) -> str:
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if answer["Content-Type"] == "application/pdf":
        return text_of_paper(body)
    return CHANCE.sub("", body.decode("utf-8", "replace"))


@cache
def text_of_paper(body: bytes) -> str:
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(body)).pages)


def signed_in(role: str) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(builders.person(role))
    return client


def shown_to(role: str, figures: list[str]) -> set[tuple[str, str]]:
    """Return the name of each address that shows a role one of these, and what it shows."""
    found = "|".join(re.escape(figure) for figure in figures)
    wanted = re.compile(rf"(?<![\d.,])(?:{found})(?!\d)", re.IGNORECASE)
    client, told = signed_in(role), set()
    for name, url in walk.every_row(signed_in("owner")):
        # The one ends the walk; the other only says what there is to ask for.
        if name in ("accounts:sign_out", "api:schema"):
            continue
        answer = client.get(url)
        if answer.status_code == 200:
            told |= {(name, match.lower()) for match in wanted.findall(text_of(answer))}
    return told


def test_the_house_shows_its_figures_to_who_may_see_them():
    """Or the test below would pass in a house that has none of them."""
    make_house()
    owner, names = signed_in("owner"), dict(walk.every_row(signed_in("owner")))

    for name, figures in SHOWN_TO_THE_OWNER.items():
        shown = text_of(owner.get(names[name]))
        for figure in figures:
            assert figure in shown, name


@pytest.mark.parametrize("role", [role for role in User.Role.values if hidden_from(role)])
def test_a_role_is_shown_nothing_that_it_may_not_see(role):
    make_house()

    assert shown_to(role, hidden_from(role)) == set()

"""The demo's table, worked out again from the figures in `fixtures_demo/`.

Nothing here calls the services: weights are turned by the exact pound (NIST Handbook 44,
appendix C), the tank is a cylinder on a cone, money is added up in decimals.
"""

import math
import os
import re
import socket
import tomllib
from datetime import timedelta
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.utils import timezone

from apiary_sales.billing.models import Invoice
from apiary_sales.finding.services import index
from apiary_sales.orders.models import Order
from apiary_sales.reports.frames import stock
from apiary_sales.reports.frames.stock import StockFilters
from apiary_sales.web import serve
from inventory.stock.models import DipReading, Posting

pytestmark = pytest.mark.django_db

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures_demo"
POUND = Decimal("453.59237")


def read(name):
    return tomllib.loads((FIXTURES / f"{name}.toml").read_text(encoding="utf-8"))


def grams(pounds):
    return int((Decimal(pounds) * POUND).quantize(Decimal(1), ROUND_HALF_EVEN))


def pounds(weight):
    """Write grams as the table does: whole pounds from a hundred on."""
    return f"{round(Decimal(weight) / POUND):,} lb"


def cents(amount):
    return int((amount * 100).quantize(Decimal(1), ROUND_HALF_UP))


def dollars(amount_cents):
    return f"${Decimal(amount_cents) / 100:,.2f}"


def run_demo(settings, tmp_path):
    settings.DOCUMENTS_DIR = tmp_path
    out = StringIO()
    call_command("demo", no_serve=True, stdout=out, stderr=out)
    return out.getvalue()


@pytest.fixture
def table(settings, tmp_path):
    """Run the demo once and return its table: what, and how much."""
    lines = run_demo(settings, tmp_path).split("prove every balance.")[1].splitlines()
    return dict(re.split(r"\s{2,}", line.strip(), maxsplit=1) for line in lines if line.strip())


def test_the_table_is_what_the_fixtures_come_to(table):
    story, places, sizes = read("story"), read("places"), read("sizes")
    more = read("products")

    # Extractions: pounds to grams, then one mass-weighted mean for the tank.
    into_tank = [row for row in story["extractions"] if row["place"] == "tank-1"]
    book = sum(grams(row["pounds"]) for row in into_tank)
    assert table["the book said"] == pounds(book)
    # 1.4920 at 20 °C is 17.8 % in the table of Bogdanov, Book of Honey, ch. 4 (read).
    moistures = [Decimal(into_tank[0]["moisture_percent"]), Decimal("17.8")]
    weights = [grams(row["pounds"]) for row in into_tank]
    mean = sum(m * w for m, w in zip(moistures, weights, strict=True)) / sum(weights)
    assert abs(Decimal(table["moisture of the blend"].removesuffix(" %")) - mean) < Decimal("0.02")

    # The dip: a cone full to its rim, and the cylinder above it; density between the published
    # specific gravities of 17 and 18 % (White 1975, from memory), less 0.0006 a degree.
    tank = next(row for row in places["tanks"] if row["code"] == "tank-1")
    depth_mm = round(Decimal(story["dip"]["depth_in"]) * Decimal("25.4"))
    area = math.pi * (tank["diameter_mm"] / 2) ** 2
    litres = area * (tank["cone_mm"] / 3 + (depth_mm - tank["cone_mm"])) / 1e6
    celsius = (float(story["dip"]["fahrenheit"]) - 32) * 5 / 9
    gravity = 1.4237 + (1.4171 - 1.4237) * (float(mean) - 17)
    dipped = litres * (gravity * 0.998207 - 0.0006 * (celsius - 20)) * 1000
    reading = DipReading.objects.get()
    assert float(reading.litres) == pytest.approx(litres, abs=0.001)
    assert abs(reading.grams - dipped) < reading.uncertainty_grams
    assert table["Dip of the holding tank"] == pounds(reading.grams)

    # Drums: gross less tare.
    tare = grams(places["drums"]["tare_lb"])
    drums = {row["drum"]: grams(row["gross_pounds"]) - tare for row in story["drum_fills"]}
    bought = more["bought_honey"]
    drawn_of_bought = sum(
        grams(row["drawn_pounds"]) for row in more["runs"] if row["source"] == bought["drum"]
    )
    left_of_bought = grams(bought["gross_pounds"]) - tare - drawn_of_bought
    in_drums = sum(drums.values()) + left_of_bought
    assert table["Drums filled"] == f"{len(drums) + 1}, {pounds(in_drums)}"
    promised = sum(drums[drum] for drum in story["quote"]["drums"])
    assert table["of it promised"] == pounds(promised)

    # Runs: what was drawn is gone from the tank; yield is label weight over honey drawn.
    drawn = sum(
        grams(row["drawn_pounds"])
        for row in [*story["runs"], *more["runs"]]
        if row["source"] == "tank-1"
    )
    left = reading.grams - sum(drums.values()) - drawn
    assert table["Honey left in the holding tank"] == pounds(left)
    labels = {"half-pound": POUND / 2, "1-lb": POUND, "quart": POUND * 3}
    names = {"half-pound": "Half pound", "1-lb": "One pound", "quart": "Quart (3 lb)"}
    for row in story["runs"]:
        label, out = labels[row["product"]], grams(row["drawn_pounds"])
        in_jars = out - grams(row["loss_pounds"]) - row["broken"] * label
        over = in_jars / row["filled"] - label
        line = table[f"Bottled {names[row['product']]}"]
        assert line.startswith(f"{row['filled']} in lot L")
        assert line.endswith(
            f"yield {row['filled'] * label / out * 100:.1f} %, {over:.1f} g over in each"
        )

    # Jars: bottled, less sold; what is promised is the open order.
    sold = {}
    sales = [story["stand_sale"], story["shop_order"]]
    for sale in [*sales, *story["stand_weeks"], *story["past_orders"]]:
        for row in sale["lines"]:
            sold[row["product"]] = sold.get(row["product"], 0) + row["pieces"]
    wanted = {row["product"]: row["pieces"] for row in story["open_order"]["lines"]}
    for row in story["runs"]:
        on_hand = row["filled"] - sold.get(row["product"], 0) - gone_at_the_market(row["product"])
        assert table[f"{names[row['product']]} on hand"] == (
            f"{on_hand}, {wanted.get(row['product'], 0)} promised"
        )

    # Money: the quote by the pound, the stand by the piece, the shop with what it has paid.
    quote = story["quote"]
    price = Decimal(quote["price_per_pound"])
    total = sum(cents(Decimal(drums[drum]) / POUND * price) for drum in quote["drums"])
    total += cents(len(quote["drums"]) * Decimal(quote["deposit_each"]) + Decimal(quote["freight"]))
    order = Order.objects.get(channel=Order.Channel.BULK)
    assert table[f"Drum quote {order.number}, now an order"] == dollars(total)
    price_of = {row["code"]: row["prices"] for row in sizes["sizes"]}
    at_stand = sum(
        row["pieces"] * cents(Decimal(price_of[row["product"]]["stand"]))
        for row in story["stand_sale"]["lines"]
    )
    assert table["Stand sale"] == dollars(at_stand)
    assert table["change given"] == dollars(
        cents(Decimal(story["stand_sale"]["cash_given"])) - at_stand
    )
    # The shop holds a certificate, and honey is taxed at nothing: the total is the lines.
    at_shop = sum(
        row["pieces"] * cents(Decimal(price_of[row["product"]]["shop"]))
        for row in story["shop_order"]["lines"]
    )
    invoice = Invoice.objects.get(order__customer_reference=story["shop_order"]["reference"])
    assert table[f"Shop invoice {invoice}"] == dollars(at_shop)
    paid = cents(Decimal(story["shop_order"]["part_payment"]))
    assert table["still to pay"] == dollars(at_shop - paid)


def gone_at_the_market(product):
    """Return how many of a product were sold, broken or tasted at the market, or left the box."""
    rows = read("market")
    market, box = rows["market"], rows["honesty_box"]
    sold = sum(sale.get(product, 0) for sale in market["sales"])
    lost = sum(
        row.get("broken", 0) + row.get("samples", 0)
        for row in market["came_home"]
        if row["product"] == product
    )
    return sold + lost + box["stock"].get(product, 0) - box["left"].get(product, 0)


@pytest.mark.data_layer
def test_the_season_of_the_demo_reads_right_on_every_day(table):
    """Stock by lot is never below nothing, and is what the fixtures come to on two days."""
    story, places = read("story"), read("places")
    today = timezone.localdate()

    def on(days_ago):
        return stock.value(StockFilters(on=today - timedelta(days=days_ago)))

    for days_ago in range(125):
        assert stock.below_nothing(on(days_ago)) == [], days_ago

    # Before the first sale: all honey but what the runs drew, and every jar they filled.
    tare = grams(places["drums"]["tare_lb"])
    in_drums = sum(grams(row["gross_pounds"]) - tare for row in story["drum_fills"])
    settling = [row for row in story["extractions"] if row["place"] == "tank-2"]
    book = DipReading.objects.get().grams + sum(grams(row["pounds"]) for row in settling)
    drawn = sum(grams(row["drawn_pounds"]) for row in story["runs"])
    before = on(60)
    honey = before[before["kind"] == "honey"]
    assert in_drums < honey["grams"].sum() == book - drawn
    jars = before[before["kind"] == "packed"]
    assert sorted(jars["pieces"]) == sorted(row["filled"] for row in story["runs"])

    # Yesterday: less what was sold in the weeks before, and at the market.
    filled = next(row["filled"] for row in story["runs"] if row["product"] == "1-lb")
    sold = sum(
        row["pieces"]
        for sale in [*story["stand_weeks"], *story["past_orders"]]
        for row in sale["lines"]
        if row["product"] == "1-lb"
    )
    yesterday = on(1)
    left = filled - sold - gone_at_the_market("1-lb")
    assert left in yesterday.loc[yesterday["kind"] == "packed", "pieces"].tolist()

    # Only the first extraction was there before the second.
    first = grams(story["extractions"][0]["pounds"])
    assert on(115)["grams"].tolist() == [first]
    assert on(122).empty

    # Each act of the season has left the index of "Find anything" as it would be made anew.
    assert index.differences() == []


def test_running_it_twice_leaves_what_is_there_alone(settings, tmp_path):
    run_demo(settings, tmp_path)
    postings = Posting.objects.count()

    again = run_demo(settings, tmp_path)

    assert Posting.objects.count() == postings
    assert "was there: Thistlemere Honey House" in again
    assert "was there: sold at the stand" in again


def test_it_prints_who_may_sign_in_and_serves(settings, tmp_path, monkeypatch):
    settings.DATA_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"
    settings.ALLOWED_HOSTS = settings.LOCAL_HOSTS
    served = []
    monkeypatch.setattr(serve, "run", lambda listener: served.append(listener.getsockname()))
    before = os.umask(0o022)
    out = StringIO()
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]

    call_command("demo", port=port, stdout=out)
    os.umask(before)

    people = read("house")["people"]
    for person in people:
        assert re.search(rf"^  {person['username']} +\S+ +{person['name']}, ", out.getvalue(), re.M)
    assert out.getvalue().endswith(f"\nOpen http://127.0.0.1:{port}   (Ctrl+C stops)\n")
    assert served == [("127.0.0.1", port)]

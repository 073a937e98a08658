"""The demo's table, worked out again from the figures in `fixtures_demo/` and the ledger's lines.

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
from django.db.models import Sum

from apiary_sales.billing.models import Invoice
from apiary_sales.finding.services import index
from apiary_sales.orders.models import Order
from apiary_sales.reports.frames import stock
from apiary_sales.reports.frames.stock import StockFilters
from apiary_sales.web import serve
from inventory.stock.models import DipReading, Posting, PostingLine, Shortage

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


@pytest.fixture
def table(loaded):
    """Return the table of the demo: what, and how much."""
    # Between them stands the seal.
    lines = loaded.said.split("prove every balance.")[1].partition("\n\n")[2].splitlines()
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
    of_the_seasons = honey_in_drums_from("D-101")
    in_drums = sum(drums.values()) + left_of_bought + sum(of_the_seasons)
    assert table["Drums filled"] == f"{len(drums) + 1 + len(of_the_seasons)}, {pounds(in_drums)}"
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

    # Jars: what the ledger's lines add up to; what is promised is the open order.
    wanted = {row["product"]: row["pieces"] for row in story["open_order"]["lines"]}
    for row in story["runs"]:
        promised = wanted.get(row["product"], 0)
        assert table[f"{names[row['product']]} on hand"] == (
            f"{in_the_stores(row['product'])}, {promised} promised"
        )

    # Money: the quote by the pound, the stand by the piece, the shop with what it has paid.
    quote = story["quote"]
    price = Decimal(quote["price_per_pound"])
    total = sum(cents(Decimal(drums[drum]) / POUND * price) for drum in quote["drums"])
    total += cents(len(quote["drums"]) * Decimal(quote["deposit_each"]) + Decimal(quote["freight"]))
    order = Order.objects.get(idempotency_key="demo:quote")
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


def honey_in_drums_from(first):
    """Return the grams in each drum from a number on that is not empty, by the ledger's lines."""
    return [
        grams
        for grams in PostingLine.objects.filter(place__kind="drum", place__code__gte=first)
        .values("place")
        .annotate(grams=Sum("quantity"))
        .values_list("grams", flat=True)
        if grams
    ]


def in_the_stores(product):
    """Return how many pieces of a product are at storeroom, stands and van."""
    lines = PostingLine.objects.filter(lot__product__code=product)
    return lines.filter(place__kind__in=("shelf", "stand", "van")).aggregate(
        pieces=Sum("quantity")
    )["pieces"]


def test_the_seasons_read_right_on_every_day(loaded):
    for days_ago in range(1, 990, 23):
        on = loaded.today - timedelta(days=days_ago)
        assert stock.below_nothing(stock.value(StockFilters(on=on))) == [], on

    # Nothing of it waits to be settled, and each act has left the index of "Find anything" as it
    # would be made anew.
    assert Shortage.objects.count() == 0
    assert index.differences() == []


def test_running_it_again_leaves_what_is_there_alone_and_serves(settings, tmp_path, monkeypatch):
    settings.DATA_DIR = tmp_path
    settings.DOCUMENTS_DIR = tmp_path / "documents"
    settings.ALLOWED_HOSTS = settings.LOCAL_HOSTS
    served = []
    monkeypatch.setattr(serve, "run", lambda listener: served.append(listener.getsockname()))
    before = os.umask(0o022)
    postings = Posting.objects.count()
    out = StringIO()
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]

    call_command("demo", port=port, stdout=out)
    os.umask(before)

    assert Posting.objects.count() == postings
    for told in ("Thistlemere Honey House", "season 20", "sold at the stand"):
        assert f"was there: {told}" in out.getvalue()
    people = read("house")["people"]
    for person in people:
        assert re.search(rf"^  {person['username']} +\S+ +{person['name']}, ", out.getvalue(), re.M)
    assert out.getvalue().endswith(f"\nOpen http://127.0.0.1:{port}   (Ctrl+C stops)\n")
    assert served == [("127.0.0.1", port)]

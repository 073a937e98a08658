"""Other goods on bills: each line is taxed by what its product is, at the stand too."""

import json
import re
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.queries import trace
from apiary_sales.pricing.models import PiecePrice, ProductTax, TaxRate
from apiary_sales.pricing.services import taxes
from inventory.bottling.services import goods
from inventory.shared.errors import BadValue
from inventory.shared.models import House
from inventory.stock.models import Lot
from tests import builders
from tests.billing.conftest import TODAY, _price, invoice_of, jars, order_of

pytestmark = pytest.mark.django_db

BY_LINE, BY_INVOICE = House.Rounding.BY_LINE, House.Rounding.BY_INVOICE


@pytest.fixture
def candles(shelf, stand):
    """Candles at 4.50 at the stand, 40 on the shelf and 10 there."""
    product = builders.goods("Candle")
    builders.goods_lot(product, shelf, 40, cost_cents=4_000, maker_lot="VW-1")
    builders.goods_lot(product, stand, 10, cost_cents=1_000, maker_lot="VW-2")
    _price(product, 450)
    return product


@pytest.fixture
def rates(honey_tax):
    """6.25 % on honey, 7 % on other goods."""
    TaxRate.objects.create(name="City tax", goods="other", percent=Decimal(7), valid_from=TODAY)


def taxes_of(invoice):
    return [(line.tax_name, line.tax_cents) for line in invoice.lines.order_by("id")]


@pytest.mark.parametrize(
    ("rounding", "on_candles"),
    # 1 × 6.02 at 6.25 % is 37.625, 3 × 4.51 at 7 % 94.71: by line 38 + 95. Together they are
    # 132.335, so that the invoice has 132 and the second line what is left of it.
    [(BY_LINE, 95), (BY_INVOICE, 94)],
)
def test_an_invoice_taxes_goods_as_other_and_honey_as_honey(
    house, shop, pounds, candles, rates, rounding, on_candles
):
    house.tax_rounding = rounding
    house.save()

    invoice = invoice_of(shop, jars(pounds, 1, "6.02"), jars(candles, 3, "4.51"))

    assert taxes_of(invoice) == [("State sales tax", 38), ("City tax", on_candles)]
    assert invoice.total_cents == 602 + 1_353 + 38 + on_candles
    assert list(books.faults()) == []


def test_a_class_of_its_own_goes_before_the_usual_one(shop, pounds, candles, rates):
    taxes.set_class(product=candles, taxed_as="honey")
    taxes.set_class(product=pounds, taxed_as="other")

    invoice = invoice_of(shop, jars(pounds, 1, "10.00"), jars(candles, 1, "10.00"))

    # 7 % of 10.00 are 70, 6.25 % are 62.5 → 63
    assert taxes_of(invoice) == [("City tax", 70), ("State sales tax", 63)]


def test_a_credit_note_gives_the_tax_of_its_invoice_back(shop, pounds, candles, rates):
    invoice = invoice_of(shop, jars(pounds, 2), jars(candles, 4, "4.00"))
    taxes.set_class(product=candles, taxed_as="honey")

    note = credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="back", reason="Melted in the sun"
    )

    assert note.tax_cents == -invoice.tax_cents
    assert note.total_cents == -invoice.total_cents


def test_a_sale_at_the_stand_is_taxed_by_product(stand, pounds, candles, rates):
    sale = stand_sales.sell(
        lines=[jars(pounds, 1, "8.00"), jars(candles, 2, "4.50")],
        place=stand,
        payments=builders.paid("cash", 2_000),
        sold_by=builders.person("stand"),
        key="sale",
    )

    # 6.25 % of 8.00 are 50, 7 % of 9.00 are 63
    assert taxes_of(sale.invoice) == [("State sales tax", 50), ("City tax", 63)]
    assert sale.change_cents == 2_000 - 800 - 900 - 113


def test_the_stand_page_has_what_each_product_is_taxed_as(client, stand, pounds, candles, rates):
    client.force_login(builders.person("stand"))

    page = client.get(reverse("billing:stand"))

    data = json.loads(page.context["data"])
    assert {each["code"]: each["taxed_as"] for each in data["products"]} == {
        "one-pound": "honey",
        "candle": "other",
    }
    assert data["tax"]["rates"] == {
        "honey": {"name": "State sales tax", "parts": 62_500},
        "other": {"name": "City tax", "parts": 70_000},
    }


def test_goods_are_on_the_invoice_in_pieces_with_the_code_of_their_maker(client, shop, candles):
    invoice = invoice_of(shop, jars(candles, 50, "4.50"))
    client.force_login(builders.person("office"))

    lines = invoice.lines.order_by("id").values_list("quantity", "unit", "lot_code")
    assert sorted(lines) == [(10, "piece", "VW-2"), (40, "piece", "VW-1")]
    assert "VW-1" in client.get(reverse("billing:invoice_detail", args=[invoice.pk])).text


def test_goods_by_weight_are_not_sold_in_pieces(client, shop, shelf):
    wax = builders.goods("Wax", is_weighed=True)
    builders.goods_lot(wax, shelf, 9_000)
    PiecePrice.objects.create(product=wax, tier="stand", piece_cents=100, valid_from=TODAY)
    client.force_login(builders.person("office"))

    with pytest.raises(BadValue) as refused:
        invoice_of(shop, jars(wax, 1))

    assert str(refused.value) == "Wax is sold by weight, not by the piece."
    assert "Wax: pieces" not in client.get(reverse("orders:order_create")).text
    assert "Wax" not in client.get(reverse("pricing:prices")).text


# ------------------------------------------------------------------ the class of a product


def test_the_class_is_set_on_the_page_of_prices(client, candles, rates):
    client.force_login(builders.person("office"))
    url = reverse("pricing:product_tax", args=["candle"])
    prices = reverse("pricing:product_prices", args=["candle"])
    assert "Taxed as other goods" in client.get(prices).text

    done = client.post(url, {"taxed_as": "honey"}, follow=True)

    assert "Candle is taxed as honey." in done.text
    assert "Taxed as honey" in done.text
    assert client.get(url).context["form"]["taxed_as"].value() == "honey"

    client.post(url, {"taxed_as": "usual"})

    assert not ProductTax.objects.exists()


@pytest.mark.parametrize("taxed_as", ["freight", "wax"])
def test_a_product_is_taxed_as_honey_or_other_goods_only(candles, taxed_as):
    with pytest.raises(BadValue) as refused:
        taxes.set_class(product=candles, taxed_as=taxed_as)

    assert (refused.value.parameter, str(refused.value)) == (
        "taxed_as",
        "Choose honey or other goods.",
    )


def test_a_recall_of_wax_finds_who_bought_the_candles_made_of_it(shop, shelf):
    wax, candle = builders.goods("Wax", is_weighed=True), builders.goods("Candle")
    lot = builders.goods_lot(wax, shelf, 5_000, maker_lot="W-9")
    goods.make(
        product=candle,
        place=shelf,
        quantity=12,
        made_on=TODAY,
        materials=[goods.Material(wax, 1_200)],
        recorded_by=builders.person(),
        key="made",
    )
    invoice_of(shop, jars(candle, 5))

    found = trace.sale_rows(trace.named(Lot.objects.family_keys([lot.pk])))

    assert [(row.customer, row.description, row.sold) for row in found] == [(shop.pk, "Candle", 5)]


def test_papers_and_pages_of_an_order_show_goods_in_pieces(client, shop, candles):
    order = order_of(shop, jars(candles, 45, "4.50"), fill=False)
    client.force_login(builders.person("office"))

    pick_list = client.get(reverse("orders:pick_list", args=[order.number]))
    page = client.get(reverse("orders:order_detail", args=[order.number]))

    for words in ("VW-1", "VW-2", "Candle"):
        assert words in pick_list.text
    assert "lb" not in re.sub(r"<[^>]+>", " ", page.text).split()

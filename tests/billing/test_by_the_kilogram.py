"""Bills of a house that prices by the kilogram, in euros, and what can't change any more then."""

from dataclasses import replace
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.billing.queries import books
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import BulkPrice
from inventory.bottling.rules import labels
from inventory.shared import conventions
from inventory.shared.errors import BadValue
from inventory.shared.models import House
from inventory.shared.services import house as houses
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import invoice_of, jars
from tests.conftest import usual_conventions

pytestmark = pytest.mark.django_db


@pytest.fixture
def metric(house):
    houses.change(weight_unit="kg", currency="EUR", decimal_sign=",", market="eu", language="es")


@pytest.fixture
def invoice(metric, shop):
    drum = builders.place("7", Place.Kind.DRUM)
    lot = builders.lot_in(drum, 300_000)
    honey = LineWanted(OrderLine.Kind.HONEY, 300_000, Decimal("4.2500"), drum=drum, lot=lot)
    return invoice_of(shop, honey)


def test_a_drum_of_300_kg_at_4_25_comes_to_1275(invoice):
    line = invoice.lines.get()

    # 300 × 4.2500.
    assert (line.amount_cents, line.unit) == (127_500, "kg")
    assert (line.quantity, line.shown_quantity, line.price_is_for) == (300, "300,00", "a kg")
    assert invoice.currency == "EUR"
    assert list(books.faults()) == []


def test_the_page_of_an_invoice_says_kilograms_and_euros(invoice, client):
    client.force_login(builders.person("owner"))

    page = client.get(
        reverse("billing:invoice_detail", args=[invoice.pk]), headers={"accept-language": "fr"}
    )

    # A browser that asks for neither language gets that of the house.
    assert '<html lang="es"' in page.text
    assert "1.275,00\N{NO-BREAK SPACE}€" in page.text
    assert "4,25\N{NO-BREAK SPACE}€" in page.text


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("currency", "USD", "The books are in EUR, and stay so"),
        ("weight_unit", "lb", "Prices by weight are in kilograms already"),
    ],
)
def test_what_is_priced_by_stays(invoice, name, value, sentence):
    with pytest.raises(BadValue, match=sentence) as refused:
        houses.change(**{name: value})

    assert refused.value.parameter == name


def test_the_unit_is_free_until_there_is_a_price_by_weight(house, shop, pounds):
    invoice_of(shop, jars(pounds, 1))
    houses.change(weight_unit="kg")
    BulkPrice.objects.create(price_per_pound=Decimal("4.25"), moisture_percent_max=Decimal(20))

    with pytest.raises(BadValue, match="in kilograms already"):
        houses.change(weight_unit="lb")


def test_the_settings_page_says_at_the_field_what_stays(invoice, client):
    client.force_login(builders.person("owner"))
    form = client.get(reverse("billing:settings")).context["form"]
    sent = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    sent = {name: value for name, value in sent.items() if value is not False}

    page = client.post(
        reverse("billing:settings"), sent | {"currency": "USD"}, headers={"accept-language": "en"}
    )

    assert page.status_code == 422
    assert list(page.context["form"].errors) == ["currency"]


@pytest.mark.parametrize(
    ("market", "grams", "expected"),
    [
        ("eu", 500, "500 g"),
        ("other", 1_250, "1,25 kg"),
        ("us", 500, "NET WT 17.6 OZ (1 LB 1.6 OZ)"),
    ],
)
def test_the_net_weight_of_a_label_is_that_of_its_market(market, grams, expected):
    conventions.use(replace(usual_conventions(), weight_unit="kg", decimal_sign=","))

    assert labels.net_weight(Decimal(grams), market).startswith(expected)
    # 76/211/EEC: 4 mm up to 1 kg, 6 mm above; the small letters of 1169/2011 are 1.2 mm high.
    if market != House.Market.US:
        least = labels.net_weight_type(
            grams=Decimal(grams), market=market, panel_in2=10, statement=expected
        )
        assert least.least_mm == (4 if grams <= 1000 else 6)
        assert labels.small_type_mm(market) == labels.small_type_mm("eu")

"""Honey above the house's limit of moisture is quoted and sold only when somebody says so."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.orders.forms.quotes import PickForm
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import drums as queries
from apiary_sales.orders.services import orders, quotes
from inventory.shared.errors import BadValue, NotEnoughHoney
from inventory.stock.models import Balance, ProductionSettings
from tests import builders
from tests.inventory.pages import errors, signed_in

ASKED = (
    "Lot 26-E01 in Drum 1 has 18.7 % moisture, above your limit of 18.6 %, so it may ferment. "
    "Choose other honey, dry it or blend it, or tick that it is used all the same."
)


@pytest.fixture
def wet(full_drum):
    return full_drum(1, moisture_percent="18.7")


@pytest.fixture
def quote(packer, drum_line, owner):
    def quote(drum, **said):
        return quotes.quote(
            customer=packer,
            lines=[drum_line(drum)],
            valid_until=builders.today() + timedelta(days=14),
            created_by=owner,
            key=builders.new_key(),
            **said,
        )

    return quote


def test_a_quote_of_wet_honey_is_made_and_accepted_only_when_told_to(quote, wet, owner):
    with pytest.raises(BadValue) as refused:
        quote(wet)
    assert (refused.value.parameter, refused.value.message) == ("moisture_is_right", ASKED)
    assert not Order.objects.exists()

    order = quote(wet, moisture_is_right=True)
    with pytest.raises(BadValue, match="tick that it is used all the same"):
        quotes.accept(order=order, accepted_by=owner, key="a")
    quotes.accept(order=order, accepted_by=owner, key="b", moisture_is_right=True)

    assert Balance.objects.in_vessel(wet).reserved == 295_000


def test_an_order_of_wet_honey_is_taken_only_when_told_to(wet, drum_line, packer, owner):
    order = {
        "customer": packer,
        "channel": "bulk",
        "lines": [drum_line(wet)],
        "created_by": owner,
    }

    with pytest.raises(BadValue) as refused:
        orders.take(**order, key="a")

    assert refused.value.parameter == "moisture_is_right"
    assert Balance.objects.in_vessel(wet).reserved == 0
    assert orders.take(**order, key="b", moisture_is_right=True).status == "open"


def test_honey_at_the_limit_is_sold_without_a_question(quote, wet):
    ProductionSettings(moisture_limit_percent=Decimal("18.7")).save()

    assert quote(wet).status == "quoted"


def test_wet_drums_are_not_picked_unless_the_buyer_takes_more_moisture(wet, full_drum):
    dry = full_drum(2, moisture_percent="17.4")
    offers = queries.free_drums(builders.today())

    def picked(moisture, drums):
        form = PickForm({"amount": drums, "unit": "drums", "moisture": moisture})
        assert form.is_valid()
        return [offer.drum for offer in queries.pick(offers, form.wanted)]

    assert picked("", "1") == [dry]
    with pytest.raises(NotEnoughHoney):
        picked("", "2")
    assert picked("19", "2") == [wet, dry]


def test_the_page_of_a_quote_asks_with_a_box(wet, packer):
    office, address = signed_in("office"), reverse("orders:quote_create")
    form = {
        "customer": packer.pk,
        f"drum_{wet.pk}": "on",
        f"price_{wet.pk}": "2.15",
        "drums_as": "own",
        "valid_until": (builders.today() + timedelta(days=14)).isoformat(),
        "key": "quote",
    }

    asked = office.post(address, form)
    taken = office.post(address, {**form, "moisture_is_right": "on"})

    assert errors(asked) == {"moisture_is_right": [ASKED]}
    assert "Yes, use this honey all the same" in asked.text
    assert taken.status_code == 302
    order = Order.objects.get()
    accept = reverse("orders:quote_accept", args=[order.number])
    again = office.post(accept, {"key": "accept"})
    assert errors(again) == {"moisture_is_right": [ASKED]}
    assert office.post(accept, {"key": "accept", "moisture_is_right": "on"}).status_code == 302

"""Honey bought from another producer: stock with its cost and its way back, never harvest."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.pricing.queries import seasons
from inventory.bottling.services import costs, reversals
from inventory.shared.errors import AlreadyRecorded, BadValue, SeveralProblems
from inventory.stock.models import Balance, Lot, Place, Posting, Supplier
from inventory.stock.queries import books, honey
from inventory.stock.services import honey as honey_acts
from inventory.stock.services import purchases
from inventory.stock.services.arrivals import VesselReceived
from tests import builders
from tests.inventory import pages

pytestmark = pytest.mark.django_db


def drum(number: int, **fields) -> Place:
    return builders.place(
        f"d-{number}", Place.Kind.DRUM, name=f"Drum {number}", tare_grams=18_000, **fields
    )


def receive(vessels, **changes) -> Lot:
    told = {
        "supplier": "Olmo Honey",
        "supplier_lot": "OL-77",
        "country": "ES",
        "region": "Cuenca",
        "floral_source": "Rosemary",
        "season": 2026,
        "received_on": date(2026, 9, 1),
        "moisture_percent": Decimal("17.0"),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    return purchases.receive(vessels=vessels, **(told | changes))


def test_several_drums_of_one_delivery_are_one_lot_in_one_act():
    # 318.0 − 18.0 kg, 298.5 − 18.5 kg, and 20.0 kg net: 300.0 + 280.0 + 20.0 = 600.0 kg
    pail = builders.place("pail", Place.Kind.PAIL)
    vessels = [
        VesselReceived(drum(1), gross_grams=318_000),
        VesselReceived(drum(2), gross_grams=298_500, tare_grams=18_500),
        VesselReceived(pail, net_grams=20_000),
    ]

    lot = receive(vessels)

    assert (lot.kind, lot.code, lot.quantity_made) == ("bought", "26-P01", 600_000)
    assert (lot.supplier.name, lot.supplier.kind) == ("Olmo Honey", "producer")
    assert (lot.supplier_lot, lot.country, lot.region) == ("OL-77", "ES", "Cuenca")
    there = Balance.objects.filter(lot=lot, is_physical=True).order_by("place__code")
    assert [(row.place.code, row.quantity) for row in there] == [
        ("d-1", 300_000),
        ("d-2", 280_000),
        ("pail", 20_000),
    ]
    assert Place.objects.get(code="d-2").tare_grams == 18_500
    posting = Posting.objects.get()
    assert posting.kind == "purchase"
    assert posting.lines.get(quantity__lt=0).place.kind == "supplier"
    assert list(books.faults()) == []


def test_a_price_a_pound_becomes_the_cost_of_all():
    # 300 kg are 661.386787 lb; at $2.15 that is $1,421.98.
    lot = receive([VesselReceived(drum(1), net_grams=300_000)], price_per_pound=Decimal("2.15"))

    assert lot.cost_cents == 142_198


def test_without_a_cost_it_is_unknown_and_set_later_with_the_blends_made_of_it():
    tank = builders.place("tank")
    own = builders.lot_in(tank, 100_000, cost_cents=10_000)
    bought = receive([VesselReceived(drum(1), net_grams=300_000)])
    honey_acts.transfer(
        source=Place.objects.get(code="d-1"),
        target=tank,
        grams=None,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    blend = Balance.objects.in_vessel(tank).lot
    assert (bought.cost_cents, blend.cost_cents) == (None, None)

    changed = costs.set_lot_cost(lot=bought, cost_cents=120_000)

    blend.refresh_from_db()
    assert changed == [bought, blend]
    assert blend.cost_cents == 130_000
    assert [row.lot for row in blend.origins()] == [bought, own]


def test_bought_honey_is_stock_and_no_harvest():
    tank = builders.place("tank")
    own = builders.lot_in(tank, 100_000)
    bought = builders.bought_lot(drum(1), 300_000, season=2025)

    assert honey.in_hand().total.grams == 400_000
    assert list(Lot.objects.extracted_in(2026)) == [own]
    assert list(Lot.objects.extracted_in(2025)) == []
    assert seasons.season(2026).grams == 100_000
    assert seasons.years() == [2026]
    assert list(honey.lots(words="olmo")) == [bought]


def test_a_purchase_is_undone_by_a_reversal():
    lot = receive([VesselReceived(drum(1), net_grams=300_000)], key="bought")

    reversals.reverse(
        posting=Posting.objects.get(idempotency_key="bought"),
        recorded_by=builders.person(),
        key="undone",
    )

    assert not Balance.objects.filter(lot=lot).exclude(quantity=0).exists()
    page = pages.signed_in().get(reverse("inventory:supplier_detail", args=[lot.supplier.pk]))
    assert "26-P01 undone" in pages.text(page)


def test_the_same_form_sent_twice_is_bought_once():
    receive([VesselReceived(drum(1), net_grams=1_000)], key="same")

    with pytest.raises(AlreadyRecorded):
        receive([VesselReceived(drum(2), net_grams=1_000)], key="same")

    assert Lot.objects.count() == 1


@pytest.mark.parametrize(
    ("weights", "parameter", "message"),
    [
        ({}, "net_grams", "Enter the weight of the honey in Drum 1."),
        (
            {"net_grams": 1, "gross_grams": 2},
            "gross_grams",
            "Enter the net weight, or the gross weight, not both.",
        ),
        (
            {"gross_grams": 18_000},
            "gross_grams",
            "The full vessel (39.7 lb) must weigh more than the vessel and what was in it before "
            "(39.7 lb). Check the weights.",
        ),
        (
            {"gross_grams": 700_001},
            "gross_grams",
            "1,543 lb is more than a drum of honey weighs. Check the figure and its unit.",
        ),
        ({"net_grams": 0}, "net_grams", "Enter a weight of more than zero."),
    ],
)
def test_a_weight_that_cannot_be_is_refused_at_its_vessel(weights, parameter, message):
    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        receive([VesselReceived(drum(1), **weights)])

    assert refused.value.parameter == f"vessels.0.{parameter}"
    assert refused.value.message == message


def test_all_that_is_wrong_is_said_at_once():
    one = drum(1)

    with pytest.raises(SeveralProblems) as refused:
        receive(
            [VesselReceived(one, net_grams=5), VesselReceived(one, net_grams=5)],
            floral_source=" ",
            moisture_percent=None,
        )

    assert [problem.parameter for problem in refused.value.problems] == [
        "moisture_percent",
        "floral_source",
        "vessels.1.place",
    ]
    assert Supplier.objects.count() == 0


def test_the_page_receives_a_delivery_and_the_lot_page_names_its_supplier():
    drum(1), drum(2)
    client = pages.signed_in("office")
    sent = {
        "key": "form",
        "supplier": "Olmo Honey",
        "supplier_lot": "OL-77",
        "floral_source": "Rosemary",
        "country": "ES",
        "season": "2026",
        "received_on": "2026-09-01",
        "moisture": "17",
        "place_1": "d-1",
        "gross_1": "318",
        "gross_1_unit": "kg",
        "place_3": "d-2",
        "net_3": "250",
        "net_3_unit": "kg",
        "cost": "1500",
    }

    answer = client.post(reverse("inventory:purchase"), sent)

    assert answer.status_code == 302
    lot = Lot.objects.get()
    assert (lot.quantity_made, lot.cost_cents) == (550_000, 150_000)
    page = pages.text(client.get(answer.url))
    assert "Bought from Olmo Honey" in page
    assert "Their lot code OL-77" in page
    assert "Set what it cost" in page


def test_the_page_says_at_its_field_what_is_wrong_with_the_third_vessel():
    drum(1), drum(2)
    sent = {"key": "form", "supplier": "Olmo", "floral_source": "Rosemary", "season": "2026"}
    sent |= {"received_on": "2026-09-01", "moisture": "17", "place_1": "d-1", "net_1": "5"}

    answer = pages.signed_in().post(
        reverse("inventory:purchase"), {**sent, "place_3": "d-2", "net_4": "5"}
    )

    assert pages.errors(answer) == {"place_4": ["Choose the vessel this weight is in."]}


def test_the_cost_of_bought_honey_is_set_on_its_page():
    lot = builders.bought_lot(drum(1))
    client = pages.signed_in("office")

    answer = client.post(reverse("pricing:lot_cost", args=[lot.code]), {"cost": "990", "key": "c"})

    lot.refresh_from_db()
    assert lot.cost_cents == 99_000
    assert answer.url == reverse("inventory:lot_detail", args=[lot.code])

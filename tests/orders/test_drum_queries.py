"""Which drums make up an amount, and what a quote comes to."""

from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries.drums import DrumsWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import BulkPrice, PiecePrice
from inventory.bottling.services import parts
from inventory.shared.errors import BadValue, NotEnoughHoney
from inventory.stock.models import Lot, ProductionSettings
from inventory.stock.services import honey
from tests import builders
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def offers(full_drum, today):
    """Four drums of 200, 300, 250 and 310 kg, the third one dark and wet, in order of age."""
    full_drum(1, 200_000)
    full_drum(2, 300_000)
    full_drum(3, 250_000, colour_mm="120", moisture_percent="19.0")
    full_drum(4, 310_000)
    return drums.free_drums(today)


def names(offers):
    return [offer.drum.name for offer in offers]


def test_free_drums_come_oldest_honey_first_with_their_price(offers, today):
    BulkPrice.objects.create(
        colour_class="White", moisture_percent_max=Decimal("18.6"), price_per_pound=Decimal("2.15")
    )

    assert names(offers) == ["Drum 1", "Drum 2", "Drum 3", "Drum 4"]
    assert [offer.price_per_pound for offer in drums.free_drums(today)] == [
        Decimal("2.1500"),
        Decimal("2.1500"),
        None,
        Decimal("2.1500"),
    ]


def test_reserved_held_and_empty_drums_are_not_offered(
    offers, today, packer, owner, key, drum_line
):
    orders.take(
        customer=packer,
        channel="bulk",
        lines=[drum_line(offers[0].drum)],
        created_by=owner,
        key=key(),
    )
    Lot.objects.filter(pk=offers[1].lot.pk).update(is_on_hold=True)
    honey.write_off(
        place=offers[2].drum, grams=250_000, reason="own_use", recorded_by=owner, key=key()
    )

    assert names(drums.free_drums(today)) == ["Drum 4"]


@pytest.mark.parametrize(
    ("amount", "unit", "picked"),
    [
        # 200 kg = 440.92 lb; 500 kg = 1,102.31 lb (1 lb = 453.59237 g, NIST Handbook 44).
        ("440", "lb", ["Drum 1"]),
        ("441", "lb", ["Drum 1", "Drum 2"]),
        ("200", "kg", ["Drum 1"]),
        ("200.01", "kg", ["Drum 1", "Drum 2"]),
        ("3", "drums", ["Drum 1", "Drum 2", "Drum 3"]),
        # White's table: 1.4211 kg/L at 17.4 % is near 1.418; 200 kg are some 37.2 gal.
        ("37", "gal", ["Drum 1"]),
        ("38", "gal", ["Drum 1", "Drum 2"]),
    ],
)
def test_drums_are_picked_oldest_first_until_there_is_enough(offers, amount, unit, picked):
    assert names(drums.pick(offers, DrumsWanted(Decimal(amount), unit))) == picked


@pytest.mark.parametrize(
    ("kilograms", "picked"),
    [
        ("200", ["Drum 1"]),
        ("260", ["Drum 2"]),
        ("305", ["Drum 4"]),
        ("500", ["Drum 1", "Drum 2"]),
        ("511", ["Drum 2", "Drum 3"]),
        ("1060", ["Drum 1", "Drum 2", "Drum 3", "Drum 4"]),
    ],
)
def test_the_nearest_drums_waste_the_least(offers, kilograms, picked):
    wanted = DrumsWanted(Decimal(kilograms), "kg", prefer=drums.BEST_FIT)

    assert names(drums.pick(offers, wanted)) == picked


def test_colour_and_moisture_narrow_the_choice(offers):
    dark = DrumsWanted(Decimal(1), "drums", colour_class="Dark Amber")
    dry = DrumsWanted(Decimal(3), "drums", moisture_percent_max=Decimal("18.6"))

    assert names(drums.pick(offers, dark)) == ["Drum 3"]
    assert names(drums.pick(offers, dry)) == ["Drum 1", "Drum 2", "Drum 4"]


def test_more_than_the_free_drums_hold_is_refused(offers):
    with pytest.raises(NotEnoughHoney) as refused:
        drums.pick(offers, DrumsWanted(Decimal(3000), "lb"))

    # 1,060 kg / 0.45359237 = 2,336.9 lb
    assert str(refused.value) == (
        "Not enough honey in free drums. Asked for: 3,000 lb. Free and suitable: 2,337 lb. "
        "Ask for less, or change the colour or the moisture."
    )
    assert refused.value.parameter == "wanted.amount"


def test_more_drums_than_fit_is_refused(offers):
    wanted = DrumsWanted(Decimal(2), "drums", colour_class="Dark Amber")

    with pytest.raises(NotEnoughHoney) as refused:
        drums.pick(offers, wanted)

    assert str(refused.value) == (
        "Not enough honey in free drums. Asked for: 2 drums. Free and suitable: 1 drum. "
        "Ask for less, or change the colour or the moisture."
    )


def test_nothing_wanted_is_refused(offers):
    with pytest.raises(BadValue, match="Enter how much is wanted"):
        drums.pick(offers, DrumsWanted(Decimal(0), "lb"))


def test_a_quote_adds_up_weight_volume_and_money(offers, drum_line, today):
    Lot.objects.filter(pk=offers[0].lot.pk).update(cost_cents=50_000)
    lines = [
        drum_line(offers[0].drum, price="2.00", lot=Lot.objects.get(pk=offers[0].lot.pk)),
        charge("drum_deposit", 1, "40"),
        charge("freight", 1, "180"),
    ]

    figures = drums.figures(lines, on=today)

    assert (figures.drums, figures.grams) == (1, 200_000)
    # 200,000 g / 453.59237 = 440.9245 lb × $2.00 = $881.85
    assert figures.honey_cents == 88_185
    assert (figures.drum_cents, figures.freight_cents) == (4_000, 18_000)
    assert figures.total_cents == 110_185
    assert figures.margin_cents == 38_185
    # Specific gravity at 17.4 %: 1.4237 − 0.4 × (1.4237 − 1.4171) = 1.42106 (Crane 1975, White's
    # table), × 0.998207 kg/L for water = 1.41851 kg/L; 200 kg fill 140.99 L, give or take 0.18 %.
    assert round(figures.litres, 2) == Decimal("140.99")
    assert round(figures.litres_uncertainty, 2) == Decimal("0.25")


def test_an_unknown_cost_makes_the_margin_unknown(offers, drum_line, today):
    known = Lot.objects.get(pk=offers[0].lot.pk)
    known.cost_cents = 50_000
    known.save()
    lines = [
        drum_line(offers[0].drum, lot=known),
        drum_line(offers[1].drum, lot=offers[1].lot),
    ]

    assert drums.figures(lines, on=today).margin_cents is None


def test_without_a_jar_price_there_is_nothing_to_stand_against(offers, drum_line, today):
    figures = drums.figures([drum_line(offers[0].drum, lot=offers[0].lot)], on=today)

    assert (figures.jar, figures.over_jar_cents) == (None, None)


def test_the_quote_stands_against_the_best_jar_pound_for_pound(
    offers, drum_line, today, shelf, owner, key
):
    pound = builders.product("One pound")
    jar = builders.part("Jar with lid")
    builders.made_of(pound, jar)
    parts.receive(
        part=jar,
        place=shelf,
        pieces=100,
        cost_cents=5_000,
        supplier="",
        received_on=today,
        recorded_by=owner,
        key=key(),
    )
    PiecePrice.objects.create(tier="stand", product=pound, piece_cents=500)
    ProductionSettings.objects.update_or_create(pk=1, defaults={"labour_cents_per_hour": 0})

    figures = drums.figures([drum_line(offers[0].drum, price="2.00", lot=offers[0].lot)], on=today)

    # In a jar a pound brings $5.00 − $0.50 for the jar = $4.50, in the drum $2.00:
    # 440.9245 lb × ($2.00 − $4.50) = −$1,102.31
    assert (figures.jar.product, figures.jar.per_pound) == (pound, Decimal("4.5000"))
    assert figures.over_jar_cents == -110_231

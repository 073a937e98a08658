"""Bulk honey: received, moved, blended, filled, drained and written off."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.bottling.services import reversals
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    HouseError,
    NotEnoughHoney,
    SeveralProblems,
    StockReserved,
    VesselTooSmall,
)
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import drums, honey, ledger
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    return builders.place("tank-1", capacity_litres=Decimal("1300"))


@pytest.fixture
def drum():
    return builders.place(
        "d-014", Place.Kind.DRUM, tare_grams=17_600, capacity_litres=Decimal("215")
    )


def test_an_extraction_is_in_the_vessel_it_was_received_into(tank):
    lot = builders.lot_in(tank, 412_000)

    there = Balance.objects.in_vessel(tank)
    assert (there.lot, there.quantity) == (lot, 412_000)
    assert lot.code == "26-E01"
    assert lot.colour_class == "White"
    assert list(books.faults()) == []


def test_an_extraction_and_the_blend_it_makes_are_of_the_day_it_was_extracted_on(tank, owner, key):
    builders.lot_in(tank, 200_000, floral_source="Clover")
    lot = builders.lot_in(tank, 100_000, floral_source="Basswood", extracted_on=date(2026, 7, 20))

    posting = Posting.objects.filter(lines__lot=lot).get()
    assert timezone.localdate(posting.occurred_at) == date(2026, 7, 20)
    assert timezone.localdate(posting.recorded_at) == timezone.localdate()
    assert Balance.objects.in_vessel(tank).lot.made_on == date(2026, 7, 20)


def test_an_extraction_of_today_is_posted_now(tank, owner, key):
    before = timezone.now()
    honey.receive(
        place=tank,
        grams=1000,
        season=timezone.localdate().year,
        floral_source="Clover",
        extracted_on=timezone.localdate(),
        moisture_percent=Decimal("17.4"),
        recorded_by=owner,
        key=key(),
    )

    assert before <= Posting.objects.get().occurred_at <= timezone.now()


def test_honey_is_not_poured_on_a_day_to_come(tank, drum, owner, key):
    builders.lot_in(tank, 200_000)
    tomorrow = timezone.localdate() + timedelta(days=1)

    with pytest.raises(BadValue, match="This day is in the future") as refused:
        honey.transfer(
            source=tank, target=drum, grams=1000, recorded_by=owner, key=key(), poured_on=tomorrow
        )

    assert refused.value.parameter == "poured_on"
    assert Posting.objects.count() == 1


def test_moisture_can_come_from_a_refractometer(tank, owner, key):
    lot = honey.receive(
        place=tank,
        grams=1000,
        season=2026,
        floral_source="Clover",
        extracted_on=date(2026, 7, 20),
        refractive_index=Decimal("1.4930"),
        refractometer_celsius=Decimal("20.0"),
        recorded_by=owner,
        key=key(),
    )

    # 1.4930 at 20 °C is 17.4 %: Bogdanov, Book of Honey, ch. 4, after Chataway (read), to 0.03.
    assert abs(lot.moisture_percent - Decimal("17.4")) <= Decimal("0.03")


def test_all_problems_of_an_extraction_are_told_at_once(tank, owner, key):
    with pytest.raises(SeveralProblems) as refused:
        honey.receive(
            place=tank,
            grams=0,
            season=2026,
            floral_source=" ",
            extracted_on=timezone.localdate() + timedelta(days=1),
            recorded_by=owner,
            key=key(),
        )

    assert {problem.parameter for problem in refused.value.problems} == {
        "grams",
        "moisture_percent",
        "floral_source",
        "extracted_on",
    }
    assert Lot.objects.count() == 0


@pytest.mark.parametrize("moisture", ["9.99", "30.01"])
def test_moisture_outside_10_to_30_percent_is_refused(tank, moisture):
    with pytest.raises(BadValue) as refused:
        builders.lot_in(tank, moisture_percent=moisture)

    assert str(refused.value) == "Enter a moisture from 10 to 30 percent."
    assert Balance.objects.count() == 0


@pytest.mark.parametrize("moisture", ["10.00", "30.00"])
def test_moisture_at_the_ends_is_taken(tank, moisture):
    assert builders.lot_in(tank, 1000, moisture_percent=moisture).moisture_percent == Decimal(
        moisture
    )


def test_lots_that_meet_in_a_vessel_become_a_blend_of_mass_weighted_measurements(tank):
    clover = builders.lot_in(tank, 300_000, moisture_percent="17.0", colour_mm="20")
    aster = builders.lot_in(
        tank, 100_000, floral_source="Aster", moisture_percent="18.6", colour_mm="60"
    )

    there = Balance.objects.in_vessel(tank)

    # (300 × 17.0 + 100 × 18.6) / 400 = 17.4; (300 × 20 + 100 × 60) / 400 = 30: by hand.
    assert there.lot.kind == Lot.Kind.BLEND
    assert there.quantity == 400_000
    assert there.lot.moisture_percent == Decimal("17.40")
    assert there.lot.colour_mm == Decimal("30.0")
    assert there.lot.floral_source == "Aster, Clover" or there.lot.floral_source == "Clover, Aster"
    assert {(link.parent, link.grams) for link in there.lot.parent_links.all()} == {
        (clover, 300_000),
        (aster, 100_000),
    }
    assert list(books.faults()) == []


def test_more_of_the_same_lot_makes_no_blend(tank, drum, owner, key):
    lot = builders.lot_in(tank, 400_000)
    honey.transfer(source=tank, target=drum, grams=100_000, recorded_by=owner, key=key())

    honey.transfer(source=drum, target=tank, grams=100_000, recorded_by=owner, key=key())

    assert Balance.objects.in_vessel(tank).lot == lot
    assert Lot.objects.count() == 1


def test_the_cost_of_a_blend_is_the_cost_of_its_parts(tank):
    builders.lot_in(tank, 300_000, cost_cents=90_000)
    builders.lot_in(tank, 100_000, cost_cents=50_000)

    assert Balance.objects.in_vessel(tank).lot.cost_cents == 140_000


def test_a_drum_holds_gross_less_tare(tank, drum, owner, key):
    builders.lot_in(tank, 600_000)

    drums.fill(tank=tank, drum=drum, gross_grams=312_600, recorded_by=owner, key=key())

    assert Balance.objects.in_vessel(drum).quantity == 295_000
    assert Balance.objects.in_vessel(tank).quantity == 305_000


@pytest.mark.parametrize("gross", [17_599, 17_600])
def test_a_full_drum_weighs_more_than_an_empty_one(tank, drum, owner, key, gross):
    builders.lot_in(tank, 600_000)

    with pytest.raises(BadValue) as refused:
        drums.fill(tank=tank, drum=drum, gross_grams=gross, recorded_by=owner, key=key())

    assert refused.value.parameter == "gross_grams"
    assert Balance.objects.in_vessel(drum) is None


def test_a_drum_does_not_run_over(tank, drum, owner, key):
    builders.lot_in(tank, 600_000)

    with pytest.raises(VesselTooSmall, match="d-014 would overflow"):
        drums.fill(tank=tank, drum=drum, gross_grams=340_000, recorded_by=owner, key=key())

    assert Balance.objects.in_vessel(drum) is None


def test_a_vessel_gives_no_more_than_it_holds(tank, drum, owner, key):
    builders.lot_in(tank, 100_000)

    with pytest.raises(NotEnoughHoney) as refused:
        honey.transfer(source=tank, target=drum, grams=100_001, recorded_by=owner, key=key())

    # 100 kg are 220 lb.
    assert str(refused.value) == (
        "Not enough honey: you asked for 220.464 lb, but tank-1 has only 220.462 lb. Enter "
        "less, or choose another vessel."
    )
    assert Balance.objects.in_vessel(tank).quantity == 100_000


def test_a_reserved_drum_is_neither_drained_nor_topped_up(tank, drum, owner, key):
    lot = builders.lot_in(tank, 600_000)
    drums.fill(tank=tank, drum=drum, gross_grams=312_600, recorded_by=owner, key=key())
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), drum, lot, 295_000)])

    with pytest.raises(StockReserved):
        drums.drain(drum=drum, target=tank, recorded_by=owner, key=key())
    with pytest.raises(StockReserved):
        honey.transfer(source=tank, target=drum, grams=1000, recorded_by=owner, key=key())

    assert Balance.objects.in_vessel(drum).quantity == 295_000


def test_every_act_names_its_own_parameter_for_what_is_wrong(tank, drum, owner, key):
    """Acts are made of each other; each refusal is about what its own caller gave."""
    small = builders.place("pail", Place.Kind.PAIL, capacity_litres=Decimal(10))
    builders.lot_in(tank, 600_000)
    told = {}
    for name, act in {
        "fill too full": lambda **by: drums.fill(tank=tank, drum=drum, gross_grams=340_000, **by),
        "fill from empty": lambda **by: drums.fill(tank=small, drum=drum, gross_grams=40_000, **by),
        "drain into little": lambda **by: drums.drain(drum=tank, target=small, **by),
        "drain nothing": lambda **by: drums.drain(drum=drum, target=tank, **by),
        "pour too much": lambda **by: honey.transfer(source=tank, target=drum, grams=600_001, **by),
        "pour over": lambda **by: honey.transfer(source=tank, target=small, grams=20_000, **by),
        "blend from empty": lambda **by: honey.blend(
            sources=[(tank, 1_000), (drum, None)], target=small, **by
        ),
        "blend too much": lambda **by: honey.blend(
            sources=[(tank, 1_000), (drum, 1_000)], target=small, **by
        ),
        "blend over": lambda **by: honey.blend(sources=[(tank, 20_000)], target=small, **by),
        "write off too much": lambda **by: honey.write_off(
            place=tank, grams=600_001, reason=Posting.Kind.GIFT, **by
        ),
    }.items():
        with pytest.raises(HouseError) as refused:
            act(recorded_by=owner, key=key())
        told[name] = refused.value.parameter
    with pytest.raises(VesselTooSmall) as refused:
        builders.lot_in(small, 20_000)
    told["receive over"] = refused.value.parameter

    assert told == {
        "fill too full": "gross_grams",
        "fill from empty": "gross_grams",
        "drain into little": "target",
        "drain nothing": "drum",
        "pour too much": "grams",
        "pour over": "grams",
        "blend from empty": "sources.1.place",
        "blend too much": "sources.1.grams",
        "blend over": "sources",
        "write off too much": "grams",
        "receive over": "grams",
    }


def test_honey_written_off_goes_to_a_named_place(tank, owner, key):
    builders.lot_in(tank, 100_000)

    honey.write_off(
        place=tank, grams=5_000, reason=Posting.Kind.GIFT, recorded_by=owner, key=key(), note="Fair"
    )

    given = Place.objects.outside(Place.Kind.GIVEN_AWAY)
    assert Balance.objects.get(place=given).quantity == 5_000
    assert Balance.objects.in_vessel(tank).quantity == 95_000


def test_the_same_extraction_sent_twice_is_received_once(tank, owner):
    form = {
        "place": tank,
        "grams": 1000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": date(2026, 7, 20),
        "moisture_percent": Decimal("17.4"),
        "recorded_by": owner,
        "key": "the-form",
    }
    honey.receive(**form)

    with pytest.raises(AlreadyRecorded):
        honey.receive(**form)

    assert Balance.objects.in_vessel(tank).quantity == 1000
    assert Lot.objects.count() == 1


def test_a_blend_can_be_undone_while_it_is_all_there(tank, owner, key):
    first = builders.lot_in(tank, 300_000)
    builders.lot_in(tank, 100_000, floral_source="Aster")

    reversals.reverse(posting=Posting.objects.order_by("-id").first(), recorded_by=owner, key=key())

    assert (Balance.objects.in_vessel(tank).lot, Balance.objects.in_vessel(tank).quantity) == (
        first,
        300_000,
    )
    assert list(books.faults()) == []


def test_a_blend_that_was_drawn_from_cannot_be_undone(tank, drum, owner, key):
    builders.lot_in(tank, 300_000)
    builders.lot_in(tank, 100_000, floral_source="Aster")
    mixing = Posting.objects.order_by("-id").first()
    honey.transfer(source=tank, target=drum, grams=10_000, recorded_by=owner, key=key())

    with pytest.raises(CannotReverse):
        reversals.reverse(posting=mixing, recorded_by=owner, key=key())

    assert Balance.objects.in_vessel(tank).quantity == 390_000


def test_a_blend_of_blends_traces_to_its_extractions_with_their_shares(tank, owner, key):
    other = builders.place("tank-2")
    clover = builders.lot_in(tank, 300_000)
    aster = builders.lot_in(tank, 100_000, floral_source="Aster")
    basswood = builders.lot_in(other, 200_000, floral_source="Basswood")
    honey.transfer(source=tank, target=other, grams=200_000, recorded_by=owner, key=key())

    origins = Balance.objects.in_vessel(other).lot.origins()

    # 200 of 400 kg came from a tank three quarters clover: 3/8, 1/8 and 1/2, by hand.
    assert [(origin.lot, str(origin.share)) for origin in origins] == [
        (basswood, "1/2"),
        (clover, "3/8"),
        (aster, "1/8"),
    ]
    assert Balance.objects.in_vessel(other).lot in clover.descendants()
    assert clover not in basswood.descendants()

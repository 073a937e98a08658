"""Several people in the honey house at once, on a real PostgreSQL."""

from decimal import Decimal

import pytest

from inventory.shared.errors import HouseError
from inventory.stock.models import Balance, DipReading, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import dips, drums
from tests import builders
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


def test_of_two_people_who_weigh_the_same_drum_the_second_adds_nothing():
    person = builders.person()
    tank = builders.place("tank")
    drum = builders.place("drum", Place.Kind.DRUM, tare_grams=17_000)
    builders.lot_in(tank, 900_000)

    def fill():
        return drums.fill(
            tank=tank, drum=drum, gross_grams=312_000, recorded_by=person, key=builders.new_key()
        )

    outcomes = together(fill, fill)

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert [error.code for error in refused] == ["bad_value"]
    assert "adds no honey" in refused[0].message
    assert Balance.objects.in_vessel(drum).quantity == 295_000
    assert list(books.faults()) == []


def test_a_reading_accepted_by_two_people_counts_once():
    person = builders.person()
    tank = builders.measured_tank("tank", diameter_mm=1000, length_mm=1200)
    builders.lot_in(tank, 900_000)
    reading = dips.record(
        place=tank, depth_mm=800, celsius=Decimal(30), recorded_by=person, key="dip"
    )

    def accept():
        own = DipReading.objects.get(pk=reading.pk)
        return dips.accept(reading=own, reason="Foam.", recorded_by=person, key=builders.new_key())

    outcomes = together(accept, accept)

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert [error.message for error in refused] == ["This reading was accepted already."]
    assert Posting.objects.filter(kind="count").count() == 1
    assert Balance.objects.in_vessel(tank).quantity == reading.grams


def test_a_drum_drained_by_two_people_is_emptied_once():
    person = builders.person()
    drum = builders.place("drum", Place.Kind.DRUM)
    tank = builders.place("tank")
    builders.lot_in(drum, 290_000)

    def drain():
        return drums.drain(drum=drum, target=tank, recorded_by=person, key=builders.new_key())

    outcomes = together(drain, drain)

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert [error.message for error in refused] == ["drum is empty already."]
    assert Balance.objects.in_vessel(tank).quantity == 290_000
    assert list(books.faults()) == []

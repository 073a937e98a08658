"""Which lots somebody means by a code, a drum number or a part of a code."""

import pytest

from inventory.stock.models import Lot, Place, Supplier
from inventory.stock.queries.find_lots import MATCHES_MAX, find_lots
from inventory.stock.services import drums, honey
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1")


def codes(found):
    return [(match.lot.code, match.why, match.is_meant) for match in found.matches]


def fill(drum, tank, grams):
    drums.fill(
        tank=tank,
        drum=drum,
        gross_grams=grams + 18_000,
        tare_grams=18_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


@pytest.mark.parametrize("typed", ["26-E01", " 26-e01 "])
def test_a_whole_code_is_certain(tank, typed):
    builders.lot_in(tank)
    builders.lot_in(builders.place("tank-2"))

    found = find_lots(typed)

    assert codes(found) == [("26-E01", "lot code", True)]
    assert found.is_certain


def test_a_part_of_a_code_gives_all_that_have_it_and_none_is_certain(tank):
    builders.lot_in(tank)
    builders.lot_in(builders.place("tank-2"))

    found = find_lots("6-e0")

    assert codes(found) == [
        ("26-E02", "part of the lot code", False),
        ("26-E01", "part of the lot code", False),
    ]
    assert not found.is_certain


def test_a_drum_number_means_what_is_in_the_drum_now(tank):
    drum = builders.place("D-001", Place.Kind.DRUM, name="Drum 1")
    first = builders.lot_in(tank, 100_000)
    fill(drum, tank, 100_000)
    drums.drain(
        drum=drum,
        target=builders.place("tote", Place.Kind.TOTE),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    second = builders.lot_in(tank, 100_000)
    fill(drum, tank, 50_000)

    for typed in ("d-001", "drum 1"):
        assert codes(find_lots(typed)) == [
            (second.code, "in Drum 1 now", True),
            (first.code, "was in Drum 1", False),
        ]


def test_an_empty_drum_means_what_was_in_it_last(tank):
    drum = builders.place("D-001", Place.Kind.DRUM, name="Drum 1")
    lot = builders.lot_in(tank, 100_000)
    fill(drum, tank, 100_000)
    honey.write_off(
        place=drum,
        grams=None,
        reason="spoilage",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    found = find_lots("D-001")

    assert codes(found) == [(lot.code, "was in Drum 1", True)]
    assert found.is_certain


@pytest.mark.parametrize("typed", ["", "  ", "no such code", "D-001"])
def test_what_fits_nothing_finds_nothing(tank, typed):
    builders.place("D-001", Place.Kind.DRUM)
    builders.lot_in(tank)

    found = find_lots(typed)

    assert (found.matches, found.is_certain) == ([], False)
    assert found.note == ("D-001 was never filled." if typed == "D-001" else "")


@pytest.mark.parametrize("count", [MATCHES_MAX, MATCHES_MAX + 1])
def test_no_more_than_a_hundred_lots_are_listed_and_it_says_so(count):
    shelf, product = builders.place("shelf", Place.Kind.SHELF), builders.product()
    for number in range(count):
        builders.packed_lot(product, shelf, 1, code=f"K{number:03d}")

    found = find_lots("k")

    assert (len(found.matches), found.has_more) == (MATCHES_MAX, count > MATCHES_MAX)


@pytest.mark.parametrize(
    "typed",
    [
        "(10)L26265-1",
        "(01)09501101530003(15)281126(10)L26265-1",
        "(01) 09501101530003 (15) 281126 (10) L26265-1",
        "]C101095011015300031528112610L26265-1",
        "l26265 1",
        "L26265-1",
    ],
)
def test_a_code_is_found_as_it_is_printed_scanned_or_typed_in_haste(typed):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    lot = builders.packed_lot(builders.product(), shelf, 12, code="L26265-1")

    found = find_lots(typed)

    assert codes(found) == [(lot.code, "lot code", True)]


def test_a_code_that_is_a_lot_and_a_drum_is_asked_about(tank):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(builders.product(), shelf, 12, code="D-001")
    drum = builders.place("D-001", Place.Kind.DRUM, name="Drum 1")
    lot = builders.lot_in(tank, 100_000)
    fill(drum, tank, 50_000)

    found = find_lots("d-001")

    assert codes(found) == [
        ("D-001", "lot code", False),
        (lot.code, "in Drum 1 now", False),
    ]
    assert not found.is_certain


def test_a_suppliers_name_lists_what_came_from_him(tank):
    builders.lot_in(tank)
    bought = builders.lot_in(builders.place("tank-2"))
    supplier = Supplier.objects.create(name="Willow Creek Bees")
    Lot.objects.filter(pk=bought.pk).update(supplier=supplier)

    assert codes(find_lots("willow creek")) == [(bought.code, "from Willow Creek Bees", False)]

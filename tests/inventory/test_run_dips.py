"""Dips read for a run are kept beside the books; honey that the pieces can't hold is lost."""

from decimal import Decimal

import pytest

from inventory.bottling.models import BottlingRun, RunDip
from inventory.bottling.rules import filling
from inventory.bottling.services import run_corrections
from inventory.shared.errors import BadValue
from inventory.stock.models import Balance, DipReading, Lot, Place, PostingLine, TankShape
from inventory.stock.queries import books
from inventory.stock.services import dips
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    """A tank one metre across with 200 kg of honey of 17.4 %."""
    room = bottling_room.set_up()
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    return room


def test_the_dips_of_a_run_are_kept_beside_the_books_before_and_after(room):
    run = bottling_room.recorded(room, before_mm=180, after_mm=140)

    before, after = run.dips.all()
    assert (before.moment, after.moment) == ("before", "after")
    # 200 kg were in the tank, and the run drew 45.
    assert (before.reading.book_grams, after.reading.book_grams) == (200_000, 155_000)
    # π × 50² × 18 cm³ = 141.372 L; at 17.4 % and 32 °C 1.41851 − 0.0072 kg/L: 199.52 kg.
    assert abs(before.reading.grams - 199_519) <= 5
    assert before.reading.lot == room.lot
    assert before.reading.read_by == run.recorded_by
    assert list(books.faults()) == []


def test_one_dip_alone_is_kept(room):
    run = bottling_room.recorded(room, after_mm=140)

    assert [dip.moment for dip in run.dips.all()] == ["after"]


def test_a_dip_of_a_run_changes_no_books_until_it_is_accepted(room):
    run = bottling_room.recorded(room, after_mm=140)
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000
    reading = run.dips.get().reading

    dips.accept(
        reading=reading,
        reason="Dip after the run",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert Balance.objects.in_vessel(room.tank).quantity == reading.grams


def test_a_run_without_dips_keeps_none(room):
    bottling_room.recorded(room)

    assert RunDip.objects.count() == DipReading.objects.count() == 0


def test_a_dip_deeper_than_the_tank_is_named_and_nothing_is_recorded(room):
    run = bottling_room.plan(room)

    with pytest.raises(BadValue) as refused:
        bottling_room.record(run, before_mm=180, after_mm=1_201)

    assert refused.value.parameter == "after_mm"
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.PLANNED
    assert DipReading.objects.count() == 0
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000


def test_a_vessel_without_a_shape_has_no_dips(room):
    TankShape.objects.all().delete()
    run = bottling_room.plan(room)

    with pytest.raises(BadValue) as refused:
        bottling_room.record(run, before_mm=180)

    assert refused.value.parameter == "before_mm"
    assert "shape of Tank 1 is not known" in str(refused.value)


# ------------------------------------------------------------------ to the brim


def size_of_a_litre():
    return builders.size("1 kg", "1", "kg", brimful_ml=Decimal(1000))


def test_a_litre_holds_what_a_litre_of_honey_weighs_at_most():
    # 1.4237 × 0.998207 = 1.42115 kg/L at 17 % and 20 °C (White 1975, from memory); 0.18 % more.
    assert (
        filling.brimful_grams(size_of_a_litre(), moisture_percent=Decimal(17), celsius=Decimal(20))
        == 1_421 + 3
    )


@pytest.mark.parametrize(
    ("packed", "beyond"), [(14_239, 0), (14_240, 0), (14_241, 1), (20_000, 5_760)]
)
def test_what_ten_pieces_cannot_hold_is_beyond_the_brim(packed, beyond):
    shares = filling.Shares(drawn_grams=packed + 300, loss_grams=200, broken_grams=100)

    found = filling.beyond_brim(
        size_of_a_litre(), shares, 10, moisture_percent=Decimal(17), celsius=None
    )

    assert found == beyond


def record_too_much(room, **changes):
    """Draw 60 kg for 96 jars of 400 ml, of which 500 g were lost and 907 g are in two broken."""
    return bottling_room.record(bottling_room.plan(room), drawn_grams=60_000, **changes)


def test_honey_beyond_the_brim_is_asked_about(room):
    with pytest.raises(BadValue) as refused:
        record_too_much(room)

    assert refused.value.parameter == "figures_are_right"
    assert str(refused.value).startswith(
        "Of the 132 lb drawn, 129.2 lb were left for 96 pieces of 1 lb, but filled to the brim "
        "they hold 119."
    )
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000


def test_honey_beyond_the_brim_is_booked_as_lost_and_never_as_overfill(room):
    run = record_too_much(room, figures_are_right=True)

    # 400 ml at 17.4 % and 32 °C: (1.41851 − 0.0072) kg/L are 564.5 g, and 1.5 g more at most:
    # 0.18 % and 0.0001 kg/L for each of 12 °C. In whole grams 565 + 1, for 96 jars 54,336 g.
    in_jars = 96 * 566
    assert run.loss_grams == 60_000 - 907 - in_jars
    lost = PostingLine.objects.get(posting=run.posting, place__kind=Place.Kind.FILLING_LOSS)
    packed = PostingLine.objects.filter(
        posting=run.posting, place__kind=Place.Kind.PACKING, quantity__gt=0, item=lost.item
    ).get()
    assert (lost.quantity, packed.quantity) == (run.loss_grams, in_jars)
    assert list(books.faults()) == []


def test_an_overfill_that_fits_is_asked_about_only_beyond_a_quarter(room):
    run = bottling_room.record(bottling_room.plan(room), drawn_grams=55_000)

    assert run.loss_grams == 500


def test_a_correction_beyond_the_brim_is_asked_about_and_booked_as_lost(room):
    run = bottling_room.recorded(room)
    told = {
        "run": run,
        "reason": "Scale read wrong",
        "drawn_grams": 60_000,
        "recorded_by": builders.person(),
    }

    with pytest.raises(BadValue) as refused:
        run_corrections.correct(**told, key=builders.new_key())
    assert refused.value.parameter == "figures_are_right"
    run = run_corrections.correct(**told, figures_are_right=True, key=builders.new_key())

    assert run.loss_grams == 60_000 - 907 - 96 * 566
    assert list(books.faults()) == []


def test_a_dip_of_honey_whose_moisture_is_not_known_is_named(room):
    run = bottling_room.plan(room)
    Lot.objects.filter(pk=room.lot.pk).update(kind=Lot.Kind.UNKNOWN, moisture_percent=None)

    with pytest.raises(BadValue) as refused:
        bottling_room.record(run, after_mm=140)

    assert refused.value.parameter == "after_mm"
    assert str(refused.value).endswith("Leave the dips empty.")

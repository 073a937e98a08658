"""Bottling runs: planned, recorded in one posting, undone."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.bottling.models import BottlingRun
from inventory.bottling.queries import runs as run_queries
from inventory.bottling.rules import filling
from inventory.bottling.services import products, reversals, runs
from inventory.bottling.services.products import PartUse
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotAllowedNow,
    NotEnoughHoney,
    SeveralProblems,
    StockReserved,
    VesselTooSmall,
)
from inventory.stock.models import Balance, Item, Lot, Place, Posting, ProductionSettings, Shortage
from inventory.stock.queries import books
from inventory.stock.services import honey, ledger, production
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


def pieces_of(item, place) -> int:
    return sum(Balance.objects.filter(item=item, place=place).values_list("quantity", flat=True))


def grams_at(kind: str) -> int:
    balances = Balance.objects.filter(item=Item.objects.honey(), place=Place.objects.outside(kind))
    return sum(balances.values_list("quantity", flat=True))


def test_a_planned_run_leaves_the_books_alone(room):
    run = bottling_room.plan(room)

    assert run.status == BottlingRun.Status.PLANNED
    assert run.number == f"W{timezone.localdate():%y}-001"
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000
    assert Balance.objects.in_vessel(room.tank).reserved == 0
    assert Posting.objects.filter(kind=Posting.Kind.BOTTLING).count() == 0


def test_a_run_of_an_earlier_year_is_planned_once_its_day_is_said_to_be_right(room):
    long_ago = timezone.localdate() - timedelta(days=367)

    with pytest.raises(BadValue, match="more than a year away") as refused:
        bottling_room.plan(room, planned_for=long_ago)
    run = bottling_room.plan(room, planned_for=long_ago, day_is_right=True)

    assert refused.value.parameter == "planned_for"
    assert run.planned_for == long_ago


def test_a_run_draws_honey_and_parts_and_makes_a_packed_lot_in_one_posting(room):
    run = bottling_room.recorded(room)

    # Two broken pounds are 907.18 g, so of 45,000 g drawn 45,000 - 500 - 907 = 43,593 are in jars.
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000
    assert grams_at(Place.Kind.FILLING_LOSS) == 500
    assert grams_at(Place.Kind.BROKEN) == 907
    assert grams_at(Place.Kind.PACKING) == 43_593
    # Broken pieces take their jar and lid with them, but no share of a case: 96 / 12 = 8 cases.
    assert pieces_of(room.jar.item, room.shelf) == 500 - 98
    assert pieces_of(room.lid.item, room.shelf) == 500 - 98
    assert pieces_of(room.case.item, room.shelf) == 50 - 8
    assert pieces_of(room.product.item, room.shelf) == 96
    assert {line.item for line in run.posting.lines.all()} == {
        Item.objects.honey(),
        room.product.item,
        room.jar.item,
        room.lid.item,
        room.case.item,
    }
    assert list(books.faults()) == []


def test_a_case_begun_is_a_case_used(room):
    bottling_room.recorded(room, pieces_filled=97, drawn_grams=46_000)

    assert pieces_of(room.case.item, room.shelf) == 50 - 9


def test_the_packed_lot_traces_to_the_honey_with_its_grams(room):
    run = bottling_room.recorded(room)

    link = run.packed_lot.parent_links.get()
    assert (link.parent, link.grams) == (room.lot, 43_593)
    assert room.lot.descendants() == [run.packed_lot]


def test_the_packed_lot_takes_over_what_the_honey_is(room):
    packed = bottling_room.recorded(room).packed_lot

    assert packed.kind == Lot.Kind.PACKED
    assert packed.floral_source == "Clover"
    assert packed.season == 2026
    assert packed.moisture_percent == Decimal("17.40")
    assert packed.quantity_made == 96
    assert packed.product == room.product


def test_the_lot_code_is_the_day_of_the_plan_and_the_number_of_the_run_on_it(room):
    # 24 November 2026 is day 328 of its year: 365 - 31 (December) - 6 (the 25th to the 30th).
    day = date(2026, 11, 24)

    first = bottling_room.plan(room, planned_for=day)
    second = bottling_room.plan(room, planned_for=day)

    assert (first.lot_code, second.lot_code) == ("L26328-1", "L26328-2")
    assert bottling_room.record(first).packed_lot.code == "L26328-1"


def test_a_typed_lot_code_is_the_code_of_the_jars(room):
    run = bottling_room.plan(room, lot_code=" 26K24.A ")

    packed = bottling_room.record(run).packed_lot

    assert (run.lot_code, packed.code) == ("26K24.A", "26K24.A")


@pytest.mark.parametrize(
    ("code", "sentence"),
    [
        ("A" * 21, "A lot code can have at most 20 characters. This one has 21."),
        ("24/11", "Use only letters, digits, dots and hyphens in a lot code, and no spaces."),
        ("-1", "Use only letters, digits, dots and hyphens in a lot code, and no spaces."),
    ],
)
def test_a_code_that_cannot_be_stamped_is_refused(room, code, sentence):
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, lot_code=code)

    assert (refused.value.parameter, refused.value.message) == ("lot_code", sentence)


def test_one_code_may_be_on_two_products_but_not_on_two_runs_of_one(room):
    half_pound = builders.product("Half pound", "0.5")
    bottling_room.plan(room, lot_code="26K24")

    bottling_room.plan(room, lot_code="26K24", product=half_pound)
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, lot_code="26K24")

    assert (refused.value.parameter, refused.value.message) == (
        "lot_code",
        "Lot 26K24 of One pound is there already. Type another code.",
    )


def test_the_code_of_a_cancelled_run_is_free_again(room):
    run = bottling_room.plan(room, lot_code="26K24")
    runs.cancel(run=run, cancelled_by=builders.person())

    assert bottling_room.plan(room, lot_code="26K24").lot_code == "26K24"


def test_by_a_pattern_without_a_number_all_products_of_a_day_share_a_code(room):
    production.change(
        labour_cents_per_hour=0,
        honey_house_celsius=Decimal(32),
        cost_method="fifo",
        lot_code_pattern="{yyyy}.{mm}.{dd}",
    )
    day, half_pound = date(2026, 11, 24), builders.product("Half pound", "0.5")

    codes = [
        bottling_room.plan(room, planned_for=day).lot_code,
        bottling_room.plan(room, planned_for=day, product=half_pound).lot_code,
        bottling_room.plan(room, planned_for=day).lot_code,
    ]

    assert codes == ["2026.11.24", "2026.11.24", "2026.11.24-2"]


@pytest.mark.parametrize("labels_first", [True, False])
def test_jars_that_wait_for_a_label_do_not_share_a_code_with_a_run(room, labels_first):
    production.change(
        labour_cents_per_hour=0,
        honey_house_celsius=Decimal(32),
        cost_method="fifo",
        lot_code_pattern="{yyyy}.{mm}.{dd}",
    )
    day = date(2026, 11, 24)

    first = bottling_room.plan(room, planned_for=day, without_labels=not labels_first)
    second = bottling_room.plan(room, planned_for=day, without_labels=labels_first)

    assert (first.lot_code, second.lot_code) == ("2026.11.24", "2026.11.24-2")


@pytest.mark.parametrize(
    ("pattern", "sentence"),
    [
        ("L{week}-{n}", "{week} is not known. Use {yyyy}, {yy}, {ddd}, {mm}, {dd} and {n}."),
        ("L-{n}", "Put the day into the pattern, for example {yy}{ddd} for the year and its day."),
        ("{yy} {ddd}", "Use only letters, digits, dots and hyphens in a lot code, and no spaces."),
        (
            "HONEYHOUSE{yyyy}{ddd}-{n}",
            "A lot code can have at most 20 characters. This one has 21.",
        ),
    ],
)
def test_a_pattern_that_makes_no_code_is_refused(pattern, sentence):
    with pytest.raises(BadValue) as refused:
        production.change(
            labour_cents_per_hour=0,
            honey_house_celsius=Decimal(32),
            cost_method="fifo",
            lot_code_pattern=pattern,
        )

    assert (refused.value.parameter, refused.value.message) == ("lot_code_pattern", sentence)


def test_honey_that_a_variety_does_not_name_is_asked_about(room):
    buckwheat = products.save_variety(name="Buckwheat", floral_source="buckwheat")
    jars = products.save_honey(size=room.size, variety=buckwheat)

    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, product=jars)

    assert (refused.value.parameter, refused.value.message) == (
        "variety_is_right",
        "Tank 1 has Clover honey, but the jars are sold as Buckwheat. Choose another vessel, or "
        "tick that the label is right.",
    )
    assert bottling_room.plan(room, product=jars, variety_is_right=True).product == jars


def test_a_private_label_takes_the_place_of_the_label_of_the_size(room):
    own_label, their_label = builders.part("Label", "label"), builders.part("Deli label", "label")
    builders.made_of(room.size, own_label)
    for part in (own_label, their_label):
        bottling_room.receive(part, room.shelf, 500, 5_000)
    brand = products.save_brand(name="Corner Deli")
    jars = products.save_honey(size=room.size, brand=brand, parts=[PartUse(their_label)])

    bottling_room.record(bottling_room.plan(room, product=jars))

    assert pieces_of(own_label.item, room.shelf) == 500
    assert pieces_of(their_label.item, room.shelf) == 402
    assert pieces_of(jars.item, room.shelf) == 96
    assert pieces_of(room.product.item, room.shelf) == 0


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2026, 7, 20), 24, date(2028, 7, 31)),
        (date(2026, 12, 31), 2, date(2027, 2, 28)),
        (date(2026, 1, 15), 25, date(2028, 2, 29)),
        (date(2026, 11, 1), 1, date(2026, 12, 31)),
    ],
)
def test_best_by_is_the_end_of_a_month(day, months, expected):
    assert filling.best_by(day, months) == expected


def test_a_packed_lot_costs_its_honey_parts_and_labour(room):
    ProductionSettings(labour_cents_per_hour=1_800).save()

    run = bottling_room.recorded(room)

    # Honey: 45,000 of 200,000 g that cost 1,000.00 are 225.00. Parts: 98 jars at 0.60, 98 lids at
    # 0.15, 8 cases at 0.90 are 58.80 + 14.70 + 7.20 = 80.70. Labour: 90 min at 18.00 are 27.00.
    assert (run.honey_cents, run.parts_cents, run.labour_cents) == (22_500, 8_070, 2_700)
    assert run.packed_lot.cost_cents == 33_270


def test_parts_cost_the_weighted_average_of_their_receipts(room):
    # 500 jars for 300.00 and 100 for 90.00: 390.00 / 600 = 0.65 each; 98 of them 63.70.
    bottling_room.receive(room.jar, room.shelf, 100, 9_000)

    run = bottling_room.recorded(room)

    assert run.parts_cents == 6_370 + 1_470 + 720


def test_a_receipt_that_was_undone_has_no_part_in_the_average(room):
    receipt = bottling_room.receive(room.jar, room.shelf, 100, 9_000)
    reversals.reverse(
        posting=receipt.posting, recorded_by=builders.person(), key=builders.new_key()
    )

    assert bottling_room.recorded(room).parts_cents == 8_070


def test_unknown_cost_of_honey_stays_unknown():
    room = bottling_room.set_up(cost_cents=None)

    run = bottling_room.recorded(room)

    assert run.honey_cents is None
    assert run.parts_cents == 8_070
    assert run.packed_lot.cost_cents is None


def test_unknown_cost_of_a_part_stays_unknown(room):
    label = builders.part("Label", "label")
    builders.made_of(room.size, label)
    ledger.post(
        kind=Posting.Kind.COUNT,
        lines=ledger.move(
            item=label.item,
            lot=None,
            source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
            target=room.shelf,
            quantity=200,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    run = bottling_room.recorded(room)

    assert run.parts_cents is None
    assert run.packed_lot.cost_cents is None


def test_a_run_without_minutes_costs_honey_and_parts_and_keeps_labour_unknown(room):
    run = bottling_room.recorded(room, labour_minutes=None)

    run.refresh_from_db()
    assert (run.labour_minutes, run.labour_cents) == (None, None)
    # Honey and parts of the run above, 22,500 and 8,070 cents.
    assert run.packed_lot.cost_cents == 30_570
    assert run_queries.figures_of(run).total_cents == 30_570


def test_no_minutes_of_work_is_a_figure_too(room):
    run = bottling_room.recorded(room, labour_minutes=0)

    assert (run.labour_minutes, run.labour_cents) == (0, 0)


def test_yield_overfill_and_loss_come_from_the_honey_drawn(room):
    run = bottling_room.recorded(room)

    figures = run_queries.figures_of(run)

    # 96 lb are 43,544.87 g: 43,544.87 / 45,000 = 96.8 %; (43,593 - 43,544.87) / 96 = 0.5 g each;
    # 48.13 g at half a cent a gram are 24 cents; (500 + 907) / 45,000 = 3.1 %.
    assert figures.yield_percent == Decimal("96.8")
    assert figures.overfill_grams_each == Decimal("0.5")
    assert figures.overfill_cents == 24
    assert figures.loss_percent == Decimal("3.1")
    assert not figures.is_underfilled


def test_a_run_needs_no_more_than_the_vessel_holds(room):
    # 441 lb are 200,034.2 g, just more than the 200,000 g there.
    with pytest.raises(NotEnoughHoney) as refused:
        bottling_room.plan(room, 441)

    assert refused.value.parameter == "pieces"
    assert str(refused.value) == (
        "Not enough honey: the run needs 441.0 lb, but Tank 1 has only 440.9 lb. Plan "
        "fewer pieces, or choose another vessel."
    )
    assert BottlingRun.objects.count() == 0


def test_a_run_may_empty_the_vessel():
    room = bottling_room.set_up(45_360)

    # 100 lb are 45,359.237 g: rounded up to 45,360.
    assert bottling_room.plan(room, 100).pieces_planned == 100


def test_an_empty_vessel_fills_nothing(room):
    room.tank = builders.place("tank-2", name="Tank 2")

    with pytest.raises(NotEnoughHoney) as refused:
        bottling_room.plan(room, 96)

    assert str(refused.value) == (
        "Not enough honey: the run needs 96.0 lb, but Tank 2 has only 0.0 lb. Plan fewer "
        "pieces, or choose another vessel."
    )


def test_honey_promised_to_an_order_is_not_bottled(room):
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), room.tank, room.lot, 190_000)])

    with pytest.raises(StockReserved) as refused:
        bottling_room.plan(room, 96)

    # 10,000 g are 22.0 lb.
    assert str(refused.value) == (
        "Tank 1 is reserved for an order: the run needs 96.0 lb, but only 22.0 lb is free. "
        "Choose another vessel, or cancel the order first."
    )


@pytest.mark.parametrize(
    ("pieces", "sentence"),
    [
        (0, "Enter one piece or more."),
        (-5, "Enter one piece or more."),
        (1_000_001, "That is more than a million pieces. Check the figure."),
    ],
)
def test_a_run_of_an_absurd_size_is_refused(room, pieces, sentence):
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, pieces)

    assert (refused.value.parameter, str(refused.value)) == ("pieces", sentence)


def test_all_problems_of_a_plan_are_told_at_once(room):
    room.size.is_active = False
    room.size.save()

    with pytest.raises(SeveralProblems) as refused:
        bottling_room.plan(room, 0, source=room.shelf, target=room.tank)

    assert {problem.parameter: problem.message for problem in refused.value.problems} == {
        "product": "One pound is out of use.",
        "pieces": "Enter one piece or more.",
        "source": "Shelf is not for bulk honey. Choose a tank, drum, pail or tote.",
        "target": "Tank 1 is not a shelf, stand or van. Choose another place.",
    }


def test_twelve_pounds_do_not_go_into_a_jug_of_a_gallon(room):
    # A US gallon is 3,785.4 ml. At 17.4 % and 20 °C honey is 1.4211 kg/L at 17 % and 1.4146 at
    # 18 % (White 1975 by Crane, from memory: 1.4237 and 1.4171 × 0.998207), so 1.4185 at 17.4 %;
    # at 32 °C 0.0072 less, 1.4113: 5,443.1 g / 1.4113 = 3.857 L.
    jug = builders.size("Gallon jug", "12", brimful_ml=Decimal("3785.4"))

    with pytest.raises(VesselTooSmall) as refused:
        bottling_room.plan(room, 4, product=jug.standard_product)

    assert refused.value.parameter == "product"
    assert str(refused.value) == (
        "It does not fit: 12 lb of this honey takes up 3.86 L at 90 °F (32 °C), and the "
        "capacity of Gallon jug to the brim is 3.79 L."
    )


def test_honey_that_fits_only_when_cool_is_not_filled_warm(room):
    # By the figures above 12 lb need 3.837 L at 20 °C and 3.857 L at 32 °C.
    jug = builders.size("Gallon jug", "12", brimful_ml=Decimal("3850"))

    with pytest.raises(VesselTooSmall):
        bottling_room.plan(room, 4, product=jug.standard_product, celsius=Decimal(32))

    assert (
        bottling_room.plan(
            room, 4, product=jug.standard_product, celsius=Decimal(20)
        ).pieces_planned
        == 4
    )


def test_a_temperature_that_honey_never_has_is_refused(room):
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, celsius=Decimal(75))

    assert refused.value.parameter == "celsius"
    assert str(refused.value) == (
        "The weight of honey can be worked out only from 32 °F (0 °C) to 140 °F (60 °C); "
        "167 °F (75 °C) was entered. Check the figure and its unit."
    )


def test_a_plan_for_another_year_is_a_slip(room):
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, planned_for=timezone.localdate() + timedelta(days=367))

    assert refused.value.parameter == "planned_for"


def test_the_same_plan_sent_twice_is_made_once(room):
    run = bottling_room.plan(room, key="the-form")

    with pytest.raises(AlreadyRecorded) as repeat:
        bottling_room.plan(room, key="the-form")

    assert repeat.value.made == run
    assert BottlingRun.objects.count() == 1


def test_the_same_record_sent_twice_is_made_once(room):
    run = bottling_room.recorded(room, key="the-form")

    with pytest.raises(AlreadyRecorded) as repeat:
        bottling_room.record(run, key="the-form")

    assert repeat.value.made == run
    assert pieces_of(room.product.item, room.shelf) == 96


def test_a_run_is_recorded_once(room):
    run = bottling_room.recorded(room)

    with pytest.raises(NotAllowedNow) as refused:
        bottling_room.record(run)

    assert str(refused.value) == (
        f"Run {run.number} is recorded, no longer planned. Plan another run."
    )
    assert pieces_of(room.product.item, room.shelf) == 96


def shortages() -> set[tuple[str, str | None, int]]:
    """What is to be settled: of what, where, how much."""
    rows = Shortage.objects.open().select_related("item", "place")
    return {(row.item.name, row.place and row.place.name, row.quantity) for row in rows}


@pytest.mark.parametrize(
    ("inside", "left", "short"), [(45_001, 1, 0), (45_000, 0, 0), (44_999, 0, 1)]
)
def test_honey_that_the_books_lack_for_a_run_is_to_be_settled(inside, left, short):
    # The jars are there: what the run drew is booked, however much the books had.
    room = bottling_room.set_up(inside)

    run = bottling_room.recorded(room)

    assert run.status == BottlingRun.Status.RECORDED
    assert (run.pieces_filled, run.drawn_grams) == (96, 45_000)
    there = Balance.objects.in_vessel(room.tank)
    assert (there.quantity if there else 0) == left
    assert shortages() == ({("Bulk honey", "Tank 1", short)} if short else set())
    assert pieces_of(room.product.item, room.shelf) == 96
    assert list(books.faults()) == []


def test_parts_that_the_books_lack_for_a_run_are_to_be_settled():
    # 98 jars and lids with 97 there, 8 cases with 7: the filled jars show that they were there.
    room = bottling_room.set_up(pieces=97, cases=7)

    run = bottling_room.recorded(room)

    assert run.status == BottlingRun.Status.RECORDED
    assert shortages() == {("Jar", "Shelf", 1), ("Lid", "Shelf", 1), ("Case", "Shelf", 1)}
    assert pieces_of(room.jar.item, room.shelf) == 0
    assert Balance.objects.in_vessel(room.tank).quantity == 155_000
    assert list(books.faults()) == []


def test_parts_just_enough_are_used_up():
    room = bottling_room.set_up(pieces=98, cases=8)

    bottling_room.recorded(room)

    assert pieces_of(room.jar.item, room.shelf) == 0
    assert pieces_of(room.case.item, room.shelf) == 0


def test_parts_are_taken_from_all_the_places_they_are_on():
    room = bottling_room.set_up(pieces=60)
    van = builders.place("van", Place.Kind.VAN)
    bottling_room.receive(room.jar, van, 40, 2_400)
    bottling_room.receive(room.lid, van, 38, 570)

    bottling_room.recorded(room)

    assert (pieces_of(room.jar.item, room.shelf), pieces_of(room.jar.item, van)) == (0, 2)
    assert (pieces_of(room.lid.item, room.shelf), pieces_of(room.lid.item, van)) == (0, 0)


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"pieces_filled": 0}, "pieces_filled", "Enter one piece or more."),
        (
            {"pieces_broken": -1},
            "pieces_broken",
            "Enter how many broke, from 0 to a million.",
        ),
        ({"drawn_grams": 0}, "drawn_grams", "Enter a weight of more than zero."),
        ({"loss_grams": -1}, "loss_grams", "The loss can't be below zero."),
        (
            {"labour_minutes": 40_321},
            "labour_minutes",
            "Enter the minutes of work, from 0 to 40,320.",
        ),
        (
            {"drawn_grams": 30_000},
            "drawn_grams",
            "96 pieces of 1 lb need 96.0 lb, but of the 66.1 lb drawn only 63.0 lb was "
            "left for them. Check the pieces, the honey drawn and the loss.",
        ),
        (
            {"loss_grams": 46_000},
            "drawn_grams",
            "96 pieces of 1 lb need 96.0 lb, but of the 99.2 lb drawn only 0.0 lb was left "
            "for them. Check the pieces, the honey drawn and the loss.",
        ),
        (
            {"drawn_grams": 55_700},
            "figures_are_right",
            "123 lb were drawn for 96 pieces of 1 lb. That is over a quarter more than "
            "they need. Check the figures, or tick that they are right.",
        ),
        (
            {"celsius": Decimal("60.1")},
            "celsius",
            "The weight of honey can be worked out only from 32 °F (0 °C) to 140 °F (60 "
            "°C); 140 °F (60.1 °C) was entered. Check the figure and its unit.",
        ),
    ],
)
def test_figures_that_cannot_be_are_refused_at_their_parameter(room, changes, field, sentence):
    run = bottling_room.plan(room)

    with pytest.raises(BadValue) as refused:
        bottling_room.record(run, **changes)

    assert (refused.value.parameter, str(refused.value)) == (field, sentence)
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.PLANNED
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000
    assert list(books.faults()) == []


def test_a_run_before_its_honey_came_in_is_of_a_lot_unknown(room):
    # It was bottled, so it is booked; but its honey can't be what came in afterwards.
    earlier = room.lot.made_on - timedelta(days=1)

    run = bottling_room.recorded(room, bottled_on=earlier)

    assert run.lot.kind == Lot.Kind.UNKNOWN
    assert [link.parent.kind for link in run.packed_lot.parent_links.all()] == [Lot.Kind.UNKNOWN]
    assert ("Bulk honey", "Tank 1", 45_000) in shortages()
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000
    assert list(books.faults()) == []


def test_a_run_written_down_after_younger_honey_came_in_keeps_its_day(room):
    Lot.objects.filter(pk=room.lot.pk).update(made_on=date(2026, 7, 20))
    younger = builders.place("tank-2")
    builders.lot_in(younger, 50_000)
    honey.transfer(
        source=younger,
        target=room.tank,
        grams=None,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    run = bottling_room.recorded(room, bottled_on=date(2026, 7, 20))

    assert run.packed_lot.made_on == date(2026, 7, 20)


def test_a_run_of_a_day_to_come_is_refused(room):
    with pytest.raises(BadValue) as refused:
        bottling_room.recorded(room, bottled_on=timezone.localdate() + timedelta(days=1))

    assert (refused.value.parameter, str(refused.value)) == (
        "bottled_on",
        "This day is in the future. Choose today or an earlier day.",
    )


def test_far_more_honey_than_the_pieces_hold_is_taken_when_it_is_confirmed(room):
    run = bottling_room.recorded(room, drawn_grams=55_700, figures_are_right=True)

    assert (run.drawn_grams, run.loss_grams) == (55_700, 500)


@pytest.mark.parametrize(("drawn", "is_asked"), [(55_564, False), (55_565, False), (55_566, True)])
def test_a_quarter_over_is_the_bound_from_which_is_asked(room, drawn, is_asked):
    # 98 lb × 1.25 are 55,565.07 g.
    run = bottling_room.plan(room)

    if is_asked:
        with pytest.raises(BadValue):
            bottling_room.record(run, drawn_grams=drawn)
    else:
        assert bottling_room.record(run, drawn_grams=drawn).drawn_grams == drawn


def test_jars_somewhat_under_their_label_are_recorded_and_told(room):
    # 96 lb are 43,544.9 g; 44,000 - 500 - 907 = 42,593 g were left, 9.9 g a jar too few.
    figures = run_queries.figures_of(bottling_room.recorded(room, drawn_grams=44_000))

    assert figures.is_underfilled
    assert filling.underfill_sentence(figures.size, -figures.overfill_grams_each) == (
        "The pieces are underfilled: on average 9.9 g below the label weight of 1 lb. "
        "Weigh some before you sell them. A fill check shows what the rule allows."
    )


def test_an_undone_run_gives_back_honey_and_parts_and_takes_the_jars(room):
    run = bottling_room.recorded(room)

    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())

    run.refresh_from_db()
    assert run.status == BottlingRun.Status.REVERSED
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000
    assert pieces_of(room.jar.item, room.shelf) == 500
    assert pieces_of(room.case.item, room.shelf) == 50
    assert pieces_of(room.product.item, room.shelf) == 0
    assert list(books.faults()) == []


def test_a_run_whose_jars_were_partly_sold_is_not_undone(room):
    run = bottling_room.recorded(room)
    ledger.post(
        kind=Posting.Kind.SALE,
        lines=ledger.move(
            item=room.product.item,
            lot=run.packed_lot,
            source=room.shelf,
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=1,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    with pytest.raises(CannotReverse) as refused:
        reversals.reverse(
            posting=run.posting, recorded_by=builders.person(), key=builders.new_key()
        )

    assert str(refused.value) == (
        "This can't be undone any more, because the goods have since been moved or used. "
        "96 pieces of One pound would be taken from Shelf, but on a day since then it had only "
        "95 pieces. First undo "
        "what happened later, starting with the newest."
    )
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.RECORDED
    assert list(books.faults()) == []


def test_a_run_is_not_undone_into_a_vessel_that_holds_other_honey(room):
    run = bottling_room.recorded(room)
    builders.lot_in(room.tank, 50_000, floral_source="Aster")

    with pytest.raises(CannotReverse) as refused:
        reversals.reverse(
            posting=run.posting, recorded_by=builders.person(), key=builders.new_key()
        )

    assert str(refused.value) == (
        "This can't be undone any more: Tank 1 now has honey of lot 26-B01, and honey of "
        "another lot would have to go back into it. Empty it first."
    )
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.RECORDED
    assert list(books.faults()) == []


def test_a_planned_run_can_be_cancelled_once(room):
    run = bottling_room.plan(room)

    runs.cancel(run=run, cancelled_by=builders.person(), reason="No lids")

    run.refresh_from_db()
    assert (run.status, run.note) == (BottlingRun.Status.CANCELLED, "No lids")
    with pytest.raises(NotAllowedNow):
        runs.cancel(run=run, cancelled_by=builders.person())
    with pytest.raises(NotAllowedNow):
        bottling_room.record(run)
    assert Posting.objects.filter(kind=Posting.Kind.BOTTLING).count() == 0


@pytest.mark.parametrize(
    ("code", "other"),
    [
        ("tank-1", "the number of Tank 1"),
        ("TANK-1", "the number of Tank 1"),
        ("26-e01", "the code of a lot of honey in bulk"),
    ],
)
def test_a_typed_lot_code_is_not_that_of_a_vessel_or_of_honey_in_bulk(code, other):
    room = bottling_room.set_up()

    with pytest.raises(BadValue) as refused:
        bottling_room.plan(room, lot_code=code)

    assert refused.value.parameter == "lot_code"
    assert refused.value.message == f"{code} is {other}. Type a code that nothing else has."

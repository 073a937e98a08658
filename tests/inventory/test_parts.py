"""Packaging parts: set up, received, averaged, used up and ordered."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.utils import timezone

from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.bottling.part_costs import part_book
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.services import parts, reversals
from inventory.shared.errors import AlreadyRecorded, BadValue, SeveralProblems
from inventory.stock.models import Place
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def jar():
    return parts.save(name="Jar, 70 mm", kind="jar", reorder_point=100)


def receive(part, shelf, pieces=500, cost_cents=30_000, **changes) -> PartReceipt:
    told = {
        "supplier": "Valley Glass",
        "received_on": timezone.localdate(),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    return parts.receive(
        part=part, place=shelf, pieces=pieces, cost_cents=cost_cents, **(told | changes)
    )


def stock_of(part) -> part_queries.PartStock:
    return part_queries.stock(only=part)[0]


def test_a_part_gets_a_short_name_of_its_own():
    first = parts.save(name="Jar, 70 mm", kind="jar")
    second = parts.save(name="Jar 70 mm", kind="jar")

    assert (first.code, second.code) == ("jar-70-mm", "jar-70-mm-2")


@pytest.mark.parametrize("word", ["Add", "Receive"])
def test_no_part_takes_the_address_of_a_page(word):
    assert parts.save(name=word, kind="other").code == f"{word.lower()}-2"


def test_a_part_keeps_its_address_when_it_is_renamed(jar):
    parts.save(part=jar, name="Hexagon jar", kind="jar")

    jar.refresh_from_db()
    assert (jar.code, jar.name, jar.item.name) == ("jar-70-mm", "Hexagon jar", "Hexagon jar")


def test_two_parts_do_not_share_a_name(jar):
    with pytest.raises(BadValue) as refused:
        parts.save(name="jar,  70 MM", kind="jar")

    assert (refused.value.parameter, str(refused.value)) == (
        "name",
        "There is a part called jar, 70 MM already. Choose another name.",
    )
    assert PackagingPart.objects.count() == 1


def test_received_parts_are_on_the_shelf_with_their_cost(jar, shelf):
    receive(jar, shelf)

    assert stock_of(jar).on_hand == 500
    assert stock_of(jar).unit_cost_cents == 60
    assert stock_of(jar).value_cents == 30_000
    assert list(books.faults()) == []


def test_the_cost_of_a_part_is_the_weighted_average_of_its_receipts(jar, shelf):
    # 500 for 300.00 and 100 for 90.00 are 600 for 390.00.
    receive(jar, shelf)
    receive(jar, shelf, 100, 9_000)

    assert part_book().unit_cents == {jar.pk: Fraction(65)}


def test_a_receipt_undone_is_off_the_shelf_and_out_of_the_average(jar, shelf):
    receive(jar, shelf)
    wrong = receive(jar, shelf, 100, 90_000)

    reversals.reverse(posting=wrong.posting, recorded_by=builders.person(), key=builders.new_key())

    assert stock_of(jar).on_hand == 500
    assert stock_of(jar).unit_price == Decimal("0.6000")
    assert list(books.faults()) == []


def test_parts_counted_in_without_a_receipt_have_no_cost(jar, shelf):
    stores.count(
        item=jar.item,
        lot=None,
        place=shelf,
        counted=40,
        reason="Found",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    assert (stock_of(jar).on_hand, stock_of(jar).value_cents) == (40, None)


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"pieces": 0}, "pieces", "Enter one piece or more."),
        ({"pieces": -3}, "pieces", "Enter one piece or more."),
        (
            {"pieces": 1_000_001},
            "pieces",
            "That is more than a million pieces. Check the figure.",
        ),
        ({"cost_cents": -1}, "cost_cents", "Enter what all of it cost, from 0 to a million."),
        (
            {"received_on": timezone.localdate() + timedelta(days=2)},
            "received_on",
            "This day is in the future. Choose today or an earlier day.",
        ),
        (
            {"received_on": timezone.localdate() - timedelta(days=5 * 365 + 1)},
            "received_on",
            "The day is more than five years ago. Check the year.",
        ),
    ],
)
def test_a_receipt_that_cannot_be_is_refused(jar, shelf, changes, field, sentence):
    with pytest.raises(BadValue) as refused:
        receive(jar, shelf, **changes)

    assert (refused.value.parameter, str(refused.value)) == (field, sentence)
    assert PartReceipt.objects.count() == 0
    assert stock_of(jar).on_hand == 0


def test_parts_are_not_put_into_a_tank(jar):
    tank = builders.place("tank-1", name="Tank 1")

    with pytest.raises(SeveralProblems) as refused:
        receive(jar, tank, 0)

    assert [problem.message for problem in refused.value.problems] == [
        "Enter one piece or more.",
        "Tank 1 is not a shelf, stand or van. Choose another place.",
    ]


def test_the_same_receipt_sent_twice_is_booked_once(jar, shelf):
    receive(jar, shelf, key="the-form")

    with pytest.raises(AlreadyRecorded):
        receive(jar, shelf, key="the-form")

    assert stock_of(jar).on_hand == 500


@pytest.mark.parametrize(("pieces", "is_low"), [(99, True), (100, False), (101, False)])
def test_a_part_is_low_below_its_reorder_point(jar, shelf, pieces, is_low):
    receive(jar, shelf, pieces)

    assert stock_of(jar).is_low is is_low
    expected = [
        f"Jar, 70 mm: {pieces} pieces in stock. Order more: the limit you set is 100 pieces."
    ]
    assert [row.warning for row in part_queries.short()] == (expected if is_low else [])


def test_a_part_out_of_use_is_not_ordered(jar):
    parts.save(part=jar, name=jar.name, kind=jar.kind, reorder_point=100, is_active=False)

    assert part_queries.short() == []


def test_what_planned_runs_need_beyond_the_shelf_is_short():
    room = bottling_room.set_up(pieces=100, cases=8)
    bottling_room.plan(room, 96)
    bottling_room.plan(room, 24)

    # 120 jars and lids for 100 there; 8 + 2 cases for 8 there.
    assert [row.warning for row in part_queries.short()] == [
        "Case: planned runs need 10 pieces. In stock: 8 pieces. Missing: 2 pieces.",
        "Jar: planned runs need 120 pieces. In stock: 100 pieces. Missing: 20 pieces.",
        "Lid: planned runs need 120 pieces. In stock: 100 pieces. Missing: 20 pieces.",
    ]


def test_use_and_cover_come_from_the_runs_of_the_last_ninety_days():
    room = bottling_room.set_up(pieces=500, received_on=timezone.localdate() - timedelta(days=101))
    bottling_room.recorded(room)
    bottling_room.recorded(room, bottled_on=timezone.localdate() - timedelta(days=100))

    jars = stock_of(room.jar)

    # 98 in ninety days, 500 - 2 × 98 = 304 left: 304 / (98 / 90) = 279.2 days.
    assert (jars.used, jars.on_hand, jars.days_of_cover) == (98, 304, 279)
    assert jars.used_per_day == Fraction(98, 90)


def test_an_undone_run_used_nothing():
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())

    assert (stock_of(room.jar).used, stock_of(room.jar).days_of_cover) == (0, None)


def test_the_stock_of_parts_is_read_in_a_constant_number_of_queries(django_assert_num_queries):
    room = bottling_room.set_up()
    for number in range(6):
        part = builders.part(f"Part {number}")
        builders.made_of(room.size, part)
        bottling_room.receive(part, room.shelf, 10, 100)
    for _number in range(3):
        bottling_room.plan(room, 10)

    with django_assert_num_queries(10):
        part_queries.stock()


def test_how_long_ordered_parts_take_is_unknown_until_somebody_says(db):
    lid = parts.save(name="Lid, 58 mm", kind="lid")
    assert lid.lead_time_days is None

    parts.save(part=lid, name=lid.name, kind=lid.kind, lead_time_days=14)
    lid.refresh_from_db()
    assert lid.lead_time_days == 14

    with pytest.raises(BadValue, match="from 0 to 730") as refused:
        parts.save(part=lid, name=lid.name, kind=lid.kind, lead_time_days=731)
    assert refused.value.parameter == "lead_time_days"

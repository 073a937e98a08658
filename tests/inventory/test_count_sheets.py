"""A count of everything on one sheet: entered by several people, closed in one act."""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.services import stand as stand_sales
from inventory.bottling.services import reversals
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Balance, CountLine, CountSheet, Lot, Place, Posting, Shortage
from inventory.stock.queries import books, whereabouts
from inventory.stock.queries import count_sheets as queries
from inventory.stock.services import count_sheets, drums, honey, ledger, stores
from inventory.stock.services.count_sheets import CountedThing
from tests import builders
from tests.billing.conftest import jars as jars_wanted
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db

MONDAY = datetime(2026, 12, 28, 9, tzinfo=timezone.get_fixed_timezone(-360))
REASON = "Year-end count"


@pytest.fixture
def clock():
    """Monday morning; `clock.shift(hours)` moves on."""
    with time_machine.travel(MONDAY, tick=False) as traveller:
        yield traveller


@pytest.fixture
def house(clock):
    """A shelf and a stand with jars, lids, wax by weight, a tank with a shape and two drums."""
    return House()


class House:
    def __init__(self) -> None:
        self.shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
        self.stand = builders.place("stand", Place.Kind.STAND, name="Stand")
        self.pound = builders.product("One pound")
        self.jars = builders.packed_lot(self.pound, self.shelf, 48, code="L26-1")
        stores.transfer(
            item=self.pound.item,
            lot=self.jars,
            source=self.shelf,
            target=self.stand,
            pieces=20,
            **by("bottling"),
        )
        self.lid = builders.part("Lid", "lid")
        act_count(self.lid.item, None, self.shelf, 500)
        self.wax = builders.goods("Wax", is_weighed=True)
        self.wax_lot = builders.goods_lot(self.wax, self.shelf, 4_000)
        # One metre wide: 7.854 L a centimetre.
        self.tank = builders.measured_tank(
            "tank-1", diameter_mm=1000, length_mm=1200, name="Tank 1"
        )
        self.clover = builders.lot_in(self.tank, 700_000)
        self.drum, self.other = (
            builders.place(
                f"D-{number}",
                Place.Kind.DRUM,
                name=f"Drum {number}",
                tare_grams=20_000,
                capacity_litres=Decimal("216.5"),
            )
            for number in (1, 2)
        )
        for drum in (self.drum, self.other):
            honey.transfer(source=self.tank, target=drum, grams=290_000, **by("bottling"))
        self.sheet = count_sheets.open_sheet(
            name="Year end 2026",
            is_blind=False,
            opened_by=builders.person("owner"),
            key=builders.new_key(),
        )

    def enter(self, place, item, lot, quantity, role="bottling", **more) -> CountLine:
        [line] = count_sheets.enter(
            sheet=self.sheet,
            place=place,
            things=[CountedThing(item, lot, quantity)],
            counted_by=builders.person(role),
            key=builders.new_key(),
            **more,
        )
        return line

    def jars_at(self, place, pieces, **more) -> CountLine:
        return self.enter(place, self.pound.item, self.jars, pieces, **more)

    def vessel(self, vessel, how, role="bottling", **figures) -> CountLine:
        return count_sheets.enter_vessel(
            sheet=self.sheet,
            vessel=vessel,
            how=how,
            counted_by=builders.person(role),
            key=builders.new_key(),
            **figures,
        )

    def close(self, **more) -> CountSheet:
        told = {"reason": REASON, "key": builders.new_key(), **more}
        return count_sheets.close(sheet=self.sheet, closed_by=builders.person("owner"), **told)


def by(role: str) -> dict:
    return {"recorded_by": builders.person(role), "key": builders.new_key()}


def act_count(item, lot, place, counted) -> Posting | None:
    return stores.count(
        item=item, lot=lot, place=place, counted=counted, reason="counted", **by("owner")
    )


def sell(house, pieces: int):
    return stand_sales.sell(
        lines=[jars_wanted(house.pound, pieces, "8.00")],
        place=house.stand,
        payments=builders.paid("cash", 100_000),
        sold_by=builders.person("stand"),
        key=builders.new_key(),
    )


def pour_basswood(tank: Place, grams: int, day) -> Lot:
    return honey.receive(
        place=tank,
        grams=grams,
        season=2026,
        floral_source="Basswood",
        extracted_on=day,
        moisture_percent=Decimal("17.4"),
        **by("bottling"),
    )


def there(place: Place, item, lot: Lot | None = None) -> int:
    found = Balance.objects.filter(place=place, item=item, lot=lot).first()
    return found.quantity if found else 0


def in_vessel(place: Place) -> int:
    found = Balance.objects.in_vessel(place)
    return found.quantity if found else 0


# ------------------------------------------------------------------ entering and closing


def test_two_people_count_over_days_while_jars_are_sold_and_one_act_books_it(house, clock):
    # Monday: 28 jars are on the shelf by the books, 27 are found; the stand agrees.
    house.jars_at(house.shelf, 27, role="bottling")
    house.jars_at(house.stand, 20, role="stand")
    clock.shift(timedelta(hours=2))
    sell(house, 3)
    # Tuesday: four more are carried to the stand, the lids are counted, and one is sold.
    clock.shift(timedelta(days=1))
    stores.transfer(
        item=house.pound.item,
        lot=house.jars,
        source=house.shelf,
        target=house.stand,
        pieces=4,
        **by("bottling"),
    )
    house.enter(house.shelf, house.lid.item, None, 512, role="office")
    sell(house, 1)
    clock.shift(timedelta(days=1))

    closed = house.close()

    # What moved after a line was counted is no difference: 28 - 1 - 4, and 20 - 3 + 4 - 1.
    assert there(house.shelf, house.pound.item, house.jars) == 23
    assert there(house.stand, house.pound.item, house.jars) == 20
    assert there(house.shelf, house.lid.item) == 512
    assert [
        (line.place.code, line.counted, line.book_then, line.difference, bool(line.posting))
        for line in closed.lines.all()
    ] == [
        ("shelf", 27, 28, -1, True),
        ("stand", 20, 20, 0, False),
        ("shelf", 512, 500, 12, True),
    ]
    [posting] = queries.postings(closed)
    assert (posting.kind, posting.note, posting.occurred_at) == (
        "count",
        REASON,
        MONDAY + timedelta(days=2, hours=2),
    )
    assert list(books.faults()) == []


def test_a_second_count_of_a_line_replaces_the_first_and_both_stay(house):
    first = house.jars_at(house.shelf, 20)
    second = house.jars_at(house.shelf, 26, role="office")

    house.close()

    first.refresh_from_db()
    assert (first.replaced_by, first.counted) == (second, 20)
    assert there(house.shelf, house.pound.item, house.jars) == 26
    page = text(signed_in("bottling").get(reverse("inventory:count_sheet", args=["H26-1"])))
    assert "26 pieces" in page
    assert "before: 20 pieces · Bottling" in page


def test_what_is_entered_later_is_compared_with_the_moment_it_was_counted(house, clock):
    counted_at = timezone.now()
    clock.shift(timedelta(hours=3))
    sell(house, 5)

    line = house.jars_at(house.stand, 20, counted_at=counted_at)

    assert line.book_quantity == 20
    house.close()
    assert there(house.stand, house.pound.item, house.jars) == 15


def test_what_is_written_down_late_changes_what_the_books_said_then(house, clock):
    """Three jars were given away before the count, and it was entered after it."""
    clock.shift(timedelta(days=1))
    line = house.jars_at(house.shelf, 25)
    assert line.book_quantity == 28

    stores.write_off(
        item=house.pound.item,
        lot=house.jars,
        place=house.shelf,
        pieces=3,
        reason="gift",
        written_off_on=MONDAY.date(),
        **by("owner"),
    )
    house.close()

    line.refresh_from_db()
    assert (line.book_then, line.difference, line.posting) == (25, 0, None)
    assert there(house.shelf, house.pound.item, house.jars) == 25


def test_what_was_undone_never_was_there_when_it_was_counted(house, clock):
    wrong = stores.write_off(
        item=house.pound.item,
        lot=house.jars,
        place=house.shelf,
        pieces=3,
        reason="gift",
        **by("owner"),
    )
    clock.shift(timedelta(hours=1))
    house.jars_at(house.shelf, 28)
    clock.shift(timedelta(hours=1))
    reversals.reverse(posting=wrong, note="Not given", **by("owner"))

    closed = house.close()

    assert [line.difference for line in closed.lines.all()] == [0]
    assert there(house.shelf, house.pound.item, house.jars) == 28


def test_all_lines_that_agree_are_kept_and_nothing_is_booked(house):
    house.jars_at(house.shelf, 28)
    house.vessel(house.drum, "seal")

    closed = house.close()

    assert [line.difference for line in closed.lines.all()] == [0, 0]
    assert not Posting.objects.filter(note=REASON).exists()
    assert closed.closed_at is not None
    page = text(signed_in().get(reverse("inventory:count_sheet", args=[closed.number])))
    assert "Everything that was counted agrees with the books." in page


def test_a_surplus_in_one_place_does_not_hide_a_loss_in_another(house):
    house.jars_at(house.shelf, 25)
    house.jars_at(house.stand, 23)

    closed = house.close()

    assert queries.postings(closed).count() == 2
    [tally] = whereabouts.tallies([house.jars.pk])
    assert tally.counted == whereabouts.CountDifference(lost=3, found=3)
    assert list(books.faults()) == []


def test_jars_found_where_the_books_have_none_are_added(house):
    van = builders.place("van", Place.Kind.VAN, name="Van")
    house.jars_at(house.shelf, 22)
    house.jars_at(van, 6)

    house.close()

    assert there(van, house.pound.item, house.jars) == 6


@pytest.mark.parametrize(("uncounted", "left"), [("left", (20, 500)), ("zero", (0, 0))])
def test_what_was_not_counted_is_left_or_taken_as_zero(house, uncounted, left):
    house.jars_at(house.shelf, 28)

    closed = house.close(uncounted=uncounted)

    assert there(house.shelf, house.pound.item, house.jars) == 28
    assert (
        there(house.stand, house.pound.item, house.jars),
        there(house.shelf, house.lid.item),
    ) == left
    assert in_vessel(house.tank) == (120_000 if uncounted == "left" else 0)
    # The stand, lids, wax, the tank and two drums.
    assert closed.lines.filter(how="not_found").count() == (0 if uncounted == "left" else 6)
    assert list(books.faults()) == []


def test_differences_are_booked_as_of_the_moment_that_is_chosen(house, clock):
    clock.shift(timedelta(days=5))
    house.jars_at(house.shelf, 27)
    year_end = MONDAY + timedelta(days=3)

    closed = house.close(as_of=year_end)

    [posting] = queries.postings(closed)
    assert (posting.occurred_at, closed.as_of) == (year_end, year_end)


def test_what_is_written_down_after_closing_leaves_what_was_counted(house, clock):
    """Two jars were given away on Monday, counted on Tuesday, and written down on Thursday."""
    clock.shift(timedelta(days=1))
    house.jars_at(house.shelf, 26)
    house.close()
    clock.shift(timedelta(days=2))

    stores.write_off(
        item=house.pound.item,
        lot=house.jars,
        place=house.shelf,
        pieces=2,
        reason="gift",
        written_off_on=MONDAY.date(),
        **by("owner"),
    )

    assert there(house.shelf, house.pound.item, house.jars) == 26
    [tally] = whereabouts.tallies([house.jars.pk])
    assert tally.counted.lost == tally.counted.found
    assert list(books.faults()) == []


def test_a_count_settles_what_was_short_before_it(house, clock):
    """Thirty jars are said to have left yesterday, but the shelf had twenty-eight by the books."""
    clock.shift(timedelta(days=1))
    ledger.post(
        kind="gift",
        lines=ledger.move(
            item=house.pound.item,
            lot=house.jars,
            source=house.shelf,
            target=Place.objects.outside(Place.Kind.GIVEN_AWAY),
            quantity=30,
        ),
        occurred_at=MONDAY + timedelta(hours=8),
        **by("owner"),
    )
    assert Shortage.objects.open().get().quantity == 2
    clock.shift(timedelta(hours=1))

    house.jars_at(house.shelf, 0)
    house.close()

    assert not Shortage.objects.open().exists()
    assert there(house.shelf, house.pound.item, house.jars) == 0
    assert list(books.faults()) == []


def test_a_moment_before_another_count_is_refused(house, clock):
    """The other count would take the difference back: it says what was there."""
    clock.shift(timedelta(days=1))
    act_count(house.pound.item, house.jars, house.shelf, 27)
    clock.shift(timedelta(days=1))
    house.jars_at(house.shelf, 26)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close(as_of=timezone.now() - timedelta(days=1, hours=5))

    assert "put the books right already" in refused.value.message
    house.close()
    assert there(house.shelf, house.pound.item, house.jars) == 26


def test_a_moment_before_there_was_so_much_is_refused(house, clock):
    before = timezone.now() - timedelta(days=365)
    house.jars_at(house.shelf, 27)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close(as_of=before)

    assert "Choose a later moment." in refused.value.message


def test_a_moment_in_the_future_is_refused(house):
    house.jars_at(house.shelf, 27)

    with pytest.raises(BadValue) as refused, books_unchanged():
        house.close(as_of=timezone.now() + timedelta(days=1))

    assert refused.value.parameter == "as_of"


# ------------------------------------------------------------------ what can't be booked


def test_what_was_sold_since_is_said_in_words_and_counted_again(house, clock):
    house.jars_at(house.stand, 4)
    clock.shift(timedelta(hours=1))
    sell(house, 10)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close()

    assert refused.value.message == (
        "One pound, lot L26-1, Stand: the count would take off 16 pieces, but since then the rest "
        "was sold or moved and the books have only 10 pieces left. Count it again."
    )
    house.jars_at(house.stand, 0)
    house.close()
    assert there(house.stand, house.pound.item, house.jars) == 0


def test_reserved_jars_are_not_counted_away(house):
    ledger.reserve([ledger.ReservedStock(house.pound.item, house.shelf, house.jars, 25)])
    house.jars_at(house.shelf, 24)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close()

    assert refused.value.message == (
        "One pound, lot L26-1, Shelf: the count would take off 4 pieces of 28 pieces, but 25 "
        "pieces are reserved for orders. Change those orders first, or count it again."
    )


def test_a_line_that_another_count_put_right_is_counted_again(house, clock):
    house.jars_at(house.shelf, 27)
    clock.shift(timedelta(hours=1))
    act_count(house.pound.item, house.jars, house.shelf, 27)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close()

    assert "put right by another count" in refused.value.message
    house.jars_at(house.shelf, 27)
    house.close()
    assert there(house.shelf, house.pound.item, house.jars) == 27


def test_more_than_was_made_asks_why_over_all_places(house):
    house.jars_at(house.shelf, 27)
    house.jars_at(house.stand, 22)

    with pytest.raises(BadValue) as refused, books_unchanged():
        house.close()

    assert refused.value.parameter == "surplus_reason"
    assert "So 48 pieces can be here, but with this count there would be 49" in (
        refused.value.message
    )
    closed = house.close(surplus_reason="The run was written down with one too few.")
    assert closed.surplus_reason == "The run was written down with one too few."


def test_all_lines_that_stand_in_the_way_are_told_at_once(house, clock):
    house.jars_at(house.stand, 4)
    house.enter(house.shelf, house.lid.item, None, 100)
    clock.shift(timedelta(hours=1))
    sell(house, 10)
    act_count(house.lid.item, None, house.shelf, 150)

    with pytest.raises(SeveralProblems) as refused:
        house.close()

    assert len(refused.value.problems) == 2


# ------------------------------------------------------------------ vessels


def test_a_drum_is_counted_by_gross_weight_and_the_difference_goes_to_counts(house):
    house.vessel(house.drum, "gross", gross_grams=309_200)

    closed = house.close()

    assert in_vessel(house.drum) == 289_200
    [posting] = queries.postings(closed)
    assert {(line.place.kind, line.quantity) for line in posting.lines.all()} == {
        ("drum", -800),
        ("count_difference", 800),
    }


def test_a_whole_seal_agrees_with_the_books_whatever_was_entered_late(house, clock):
    clock.shift(timedelta(days=1))
    line = house.vessel(house.drum, "seal")

    assert line.counted == 290_000
    house.close()
    assert in_vessel(house.drum) == 290_000


def test_a_dip_is_weighed_by_density_and_a_small_difference_is_left(house):
    """10.8 cm × 7.854 L are 84.8 L; at 20 °C and 17.4 % about 1.417 kg/L: about 120.2 kg."""
    line = house.vessel(house.tank, "dip", depth_mm=108, celsius=Decimal(20))

    assert abs(line.counted - 120_200) < 400
    assert line.uncertainty_grams > abs(line.counted - 120_000)
    closed = house.close()
    assert in_vessel(house.tank) == 120_000
    assert closed.lines.get().posting is None


def test_a_dip_that_differs_clearly_is_booked(house):
    line = house.vessel(house.tank, "dip", depth_mm=95, celsius=Decimal(20))

    house.close()

    assert in_vessel(house.tank) == line.counted < 110_000


def test_a_vessel_that_got_other_honey_since_is_counted_again(house, clock):
    house.vessel(house.tank, "weight", grams=119_000)
    clock.shift(timedelta(hours=1))
    pour_basswood(house.tank, 50_000, MONDAY.date())

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        house.close()

    assert refused.value.message == (
        "Tank 1: other honey went in since it was counted. Count it again."
    )
    house.vessel(house.tank, "weight", grams=169_000)
    house.close()
    assert in_vessel(house.tank) == 169_000


def test_honey_that_was_poured_before_and_written_down_after_the_count_was_in_it(house, clock):
    house.vessel(house.tank, "weight", grams=169_000)
    clock.shift(timedelta(hours=1))
    pour_basswood(house.tank, 50_000, MONDAY.date() - timedelta(days=10))

    closed = house.close()

    found = Balance.objects.in_vessel(house.tank)
    assert (found.lot.kind, found.quantity) == ("blend", 169_000)
    assert [(line.lot, line.difference) for line in closed.lines.all()] == [(found.lot, -1_000)]
    assert list(books.faults()) == []


def test_a_vessel_drained_since_keeps_its_difference_elsewhere_only_if_there_is_some(house, clock):
    house.vessel(house.drum, "weight", grams=290_000)
    clock.shift(timedelta(hours=1))
    drums.drain(drum=house.drum, target=house.tank, **by("bottling"))

    house.close()

    assert (in_vessel(house.drum), in_vessel(house.tank)) == (0, 410_000)


def test_honey_found_in_an_empty_vessel_needs_its_lot(house):
    pail = builders.place("pail", Place.Kind.PAIL, name="Pail")

    with pytest.raises(BadValue) as refused, books_unchanged():
        house.vessel(pail, "weight", grams=9_000)
    assert refused.value.parameter == "lot"
    house.vessel(pail, "weight", grams=9_000, lot=house.clover)
    house.close()

    assert (in_vessel(pail), Balance.objects.in_vessel(pail).lot) == (9_000, house.clover)


def test_other_honey_in_a_vessel_than_the_books_say_takes_its_place(house):
    pail = builders.place("pail", Place.Kind.PAIL, name="Pail")
    basswood = builders.lot_in(pail, 20_000, floral_source="Basswood")
    house.vessel(house.drum, "weight", grams=20_000, lot=basswood)

    house.close()

    found = Balance.objects.in_vessel(house.drum)
    assert (found.lot, found.quantity) == (basswood, 20_000)
    assert there(house.drum, found.item, house.clover) == 0
    assert list(books.faults()) == []


@pytest.mark.parametrize(
    ("vessel", "how", "figures", "parameter"),
    [
        ("drum", "gross", {}, "gross_grams"),
        ("drum", "gross", {"gross_grams": 19_999}, "gross_grams"),
        ("drum", "gross", {"gross_grams": 400_000}, "gross_grams"),
        ("drum", "weight", {}, "grams"),
        ("drum", "weight", {"grams": -1}, "grams"),
        ("drum", "weight", {"grams": 310_000}, "grams"),
        ("tank", "seal", {}, "how"),
        ("tank", "dip", {"depth_mm": 300}, "celsius"),
        ("tank", "dip", {"celsius": Decimal(20)}, "depth_mm"),
        ("tank", "dip", {"depth_mm": 1201, "celsius": Decimal(20)}, "depth_mm"),
        ("tank", "guess", {}, "how"),
    ],
)
def test_a_vessel_is_not_entered_with_figures_that_cannot_be(
    house, vessel, how, figures, parameter
):
    with pytest.raises(BadValue) as refused, books_unchanged():
        house.vessel(getattr(house, vessel), how, **figures)

    assert refused.value.parameter == parameter
    assert not CountLine.objects.exists()


# ------------------------------------------------------------------ sheets


def test_one_sheet_is_open_at_a_time(house):
    with pytest.raises(NotAllowedNow) as refused:
        count_sheets.open_sheet(
            name="Another", is_blind=True, opened_by=builders.person(), key="another"
        )
    assert refused.value.message == "Count H26-1 is still open. Close or cancel it first."

    count_sheets.cancel(sheet=house.sheet, cancelled_by=builders.person())
    again = count_sheets.open_sheet(
        name="Another", is_blind=True, opened_by=builders.person(), key="another"
    )
    assert again.number == "H26-2"


def test_a_closed_or_cancelled_sheet_takes_no_more_counts(house):
    house.jars_at(house.shelf, 28)
    house.close()

    with pytest.raises(NotAllowedNow, match="Count H26-1 is closed"):
        house.jars_at(house.shelf, 27)
    with pytest.raises(NotAllowedNow, match="Count H26-1 is closed"):
        house.close()
    with pytest.raises(NotAllowedNow, match="Count H26-1 is closed"):
        count_sheets.cancel(sheet=house.sheet, cancelled_by=builders.person())


def test_the_same_form_sent_twice_counts_and_closes_once(house):
    twice = {
        "sheet": house.sheet,
        "place": house.shelf,
        "things": [CountedThing(house.pound.item, house.jars, 27)],
        "counted_by": builders.person(),
        "key": "once",
    }
    count_sheets.enter(**twice)
    with pytest.raises(AlreadyRecorded):
        count_sheets.enter(**twice)
    house.close(key="closed")

    with pytest.raises(AlreadyRecorded) as repeated, books_unchanged():
        house.close(key="closed")

    assert repeated.value.made == house.sheet
    assert CountLine.objects.count() == 1


def test_a_sheet_without_a_count_is_not_closed(house):
    with pytest.raises(NotAllowedNow, match="Nothing is counted yet"), books_unchanged():
        house.close()


def test_closing_asks_a_constant_number_of_questions_to_show_the_differences(house):
    def questions() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            queries.closing_view(house.sheet)
        return len(asked)

    house.jars_at(house.shelf, 27)
    few = questions()
    for number in range(10):
        lot = builders.packed_lot(house.pound, house.shelf, 12, code=f"M{number}")
        house.enter(house.shelf, house.pound.item, lot, 11)

    assert questions() == few


# ------------------------------------------------------------------ pages


def at(name: str, *args: str) -> str:
    return reverse(f"inventory:{name}", args=args)


def test_a_sheet_is_opened_filled_and_closed_on_its_pages(clock):
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    pound = builders.product("One pound")
    lot = builders.packed_lot(pound, shelf, 48, code="L26-1")
    owner, helper = signed_in("owner"), signed_in("bottling")
    opened = owner.post(
        at("count_sheet_open"), {"key": "o", "name": "Year end 2026", "is_blind": "on"}
    )
    assert opened.url == at("count_sheet", "H26-1")

    page = helper.get(at("count_sheet_place", "H26-1", "shelf"))
    assert "One pound" in text(page)
    assert "lot L26-1" in text(page)
    assert "48" not in text(page)
    entered = helper.post(at("count_sheet_place", "H26-1", "shelf"), {"key": "e", "row_0": "46"})
    assert said(entered) == ["Shelf: 1 count entered."]
    assert "48 pieces" not in text(helper.get(at("count_sheet", "H26-1")))
    closing = text(owner.get(at("count_sheet_close", "H26-1")))
    assert "48 pieces 46 pieces −2 pieces" in closing
    closed = owner.post(
        at("count_sheet_close", "H26-1"), {"key": "c", "reason": REASON, "uncounted": "left"}
    )

    assert said(closed)[-1] == "Count H26-1 is closed, and the books match it."
    assert there(shelf, pound.item, lot) == 46
    result = text(helper.get(at("count_sheet", "H26-1")))
    assert "Year-end count" in result
    assert "−2 pieces" in result


def test_who_may_only_count_neither_closes_nor_cancels_a_sheet_of_everything(house):
    helper = signed_in("stand")

    assert helper.get(at("count_sheets")).status_code == 200
    assert helper.get(at("count_sheet_place", "H26-1", "stand")).status_code == 200
    for name, args in (
        ("count_sheet_close", ("H26-1",)),
        ("count_sheet_cancel", ("H26-1",)),
    ):
        assert helper.get(at(name, *args)).status_code == 403


def test_several_rows_of_a_place_are_entered_in_any_order_and_the_rest_later(house):
    client = signed_in()
    page = at("count_sheet_place", "H26-1", "shelf")
    # Rows: jars, wax by weight, lids.
    client.post(page, {"key": "one", "row_2": "490"})
    client.post(page, {"key": "two", "row_0": "28", "row_1": "3.5", "row_1_unit": "kg"})

    assert [
        (line.item.name, line.counted) for line in CountLine.objects.order_by("item__name")
    ] == [("Lid", 490), ("One pound", 28), ("Wax", 3_500)]


def test_a_wrong_figure_is_shown_at_its_row_and_nothing_is_entered(house):
    client = signed_in()
    page = at("count_sheet_place", "H26-1", "shelf")

    response = client.post(page, {"key": "one", "row_0": "-1", "row_2": "490"})

    assert list(errors(response)) == ["row_0"]
    assert not CountLine.objects.exists()


def test_nothing_typed_is_said_so(house):
    response = signed_in().post(at("count_sheet_place", "H26-1", "shelf"), {"key": "one"})

    assert errors(response) == {"__all__": ["Enter at least one count."]}


def test_found_jars_are_added_on_the_page(house):
    response = signed_in().post(
        at("count_sheet_place", "H26-1", "stand"),
        {
            "key": "one",
            "found": f"item-{house.lid.item.pk}",
            "found_amount": "7",
            "found_amount_unit": "pieces",
        },
    )

    assert said(response) == ["Stand: 1 count entered."]
    house.close()
    assert there(house.stand, house.lid.item) == 7


def test_found_jars_of_a_lot_that_is_not_listed_are_added_by_its_code(house):
    page, found = at("count_sheet_place", "H26-1", "stand"), {"found_amount": "7"}

    unknown = signed_in().post(page, {"key": "one", "lot_code": "L99", **found})
    response = signed_in().post(page, {"key": "two", "lot_code": house.jars.code, **found})

    assert list(errors(unknown)) == ["lot_code"]
    assert said(response) == ["Stand: 1 count entered."]
    [line] = CountLine.objects.all()
    assert (line.lot, line.counted) == (house.jars, 7)


def test_a_day_and_time_say_when_it_was_counted(house, clock):
    clock.shift(timedelta(days=2))
    client = signed_in()
    page = at("count_sheet_place", "H26-1", "stand")

    client.post(
        page,
        {"key": "a", "row_0": "20", "counted_on": "2026-12-28", "counted_time": "17:30"},
    )
    client.post(page, {"key": "b", "row_0": "20", "counted_on": "2026-12-29"})

    assert [
        timezone.localtime(line.counted_at).strftime("%d %H:%M")
        for line in CountLine.objects.order_by("id")
    ] == ["28 17:30", "29 23:59"]


def test_vessels_are_counted_on_their_pages_and_seals_are_ticked_together(house):
    client = signed_in()
    dip = client.post(
        at("count_sheet_place", "H26-1", "tank-1") + "?how=dip",
        {"key": "d", "depth": "10.8", "depth_unit": "cm", "celsius": "20", "celsius_unit": "C"},
    )
    assert said(dip)[-1].startswith("Tank 1: ")
    sealed = client.post(at("count_sheet_seals", "H26-1"), {"key": "s", "vessels": ["D-1", "D-2"]})
    assert said(sealed)[-1] == "2 drums entered as sealed."
    gross = client.post(
        at("count_sheet_place", "H26-1", "D-1") + "?how=gross",
        {"key": "g", "gross": "309.2", "gross_unit": "kg"},
    )

    assert gross.status_code == 302
    standing = CountLine.objects.standing().order_by("place__code")
    assert [(line.place.code, line.how) for line in standing] == [
        ("D-1", "gross"),
        ("D-2", "seal"),
        ("tank-1", "dip"),
    ]


def test_the_closing_page_names_what_was_not_counted_and_what_stands_in_the_way(house, clock):
    house.jars_at(house.stand, 4)
    clock.shift(timedelta(hours=1))
    sell(house, 10)

    page = text(signed_in("owner").get(at("count_sheet_close", "H26-1")))

    assert "the books have only 10 pieces left. Count it again." in page
    assert "6 lines were not counted" in page


def test_why_there_are_more_is_asked_of_who_may_say_it(house):
    house.jars_at(house.shelf, 30)
    bottler, owner = signed_in("bottling"), signed_in("owner")
    page = at("count_sheet_close", "H26-1")
    form = {"key": "c", "reason": REASON, "uncounted": "left", "surplus_reason": "Miscounted run."}

    with books_unchanged():
        assert bottler.post(page, form).status_code == 422
    assert "Why there are more than were made" not in text(bottler.get(page))
    assert "Why there are more than were made" in text(owner.get(page))
    assert owner.post(page, form).status_code == 302


def test_the_paper_has_every_line_and_a_blind_one_no_figures(house):
    from inventory.shared import documents
    from inventory.stock import papers

    seen = documents.render_html(papers.COUNT_SHEET, papers.count_sheet_context(house.sheet))
    house.sheet.is_blind = True
    blind = documents.render_html(papers.COUNT_SHEET, papers.count_sheet_context(house.sheet))

    for paper in (seen, blind):
        assert all(word in paper for word in ("One pound", "L26-1", "Lid", "Wax", "Drum 1"))
    assert "500 pieces" in seen
    assert "500 pieces" not in blind
    answer = signed_in("stand").get(at("count_sheet_pdf", "H26-1"))
    assert answer.content.startswith(b"%PDF")


def test_what_left_between_counting_and_closing_may_be_written_down_after_it(house, clock):
    """27 counted on Monday, two given away on Tuesday, closed on Wednesday, written on Thursday."""
    house.jars_at(house.shelf, 27)
    clock.shift(timedelta(days=2))
    house.close()
    clock.shift(timedelta(days=1))

    stores.write_off(
        item=house.pound.item,
        lot=house.jars,
        place=house.shelf,
        pieces=2,
        reason="gift",
        written_off_on=MONDAY.date() + timedelta(days=1),
        **by("owner"),
    )

    assert there(house.shelf, house.pound.item, house.jars) == 25
    assert list(books.faults()) == []


def test_a_closed_sheet_does_not_say_that_all_was_counted_where_something_was_left_out(house):
    house.jars_at(house.shelf, 28)
    opened = text(signed_in().get(at("count_sheet", "H26-1")))
    house.close()

    closed = text(signed_in().get(at("count_sheet", "H26-1")))

    assert "Count H26-1: 1 of " in opened
    assert "Count H26-1: 1 line was counted." in closed
    assert "1 of 1 counted" not in closed

"""Gift boxes: set up, put together from lots on a shelf, traced, held, and taken apart."""

from datetime import date, timedelta

import pytest
from django.utils.formats import date_format

from inventory.bottling.models import JarChange, Product
from inventory.bottling.queries.jars import preview_boxes
from inventory.bottling.services import costs, fill_checks, gift_boxes, holds, reversals
from inventory.bottling.services.gift_boxes import BoxLine
from inventory.shared.errors import BadValue, HouseError, NotEnoughStock, SeveralProblems
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import books
from inventory.stock.services import ledger, stores
from tests import builders
from tests.inventory import bottling_room, jar_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def house():
    return jar_room.set_up()


@pytest.fixture
def jars(house):
    """Ninety-six labelled jars of lot A: 32,530 cents with labels, 43,593 g of honey."""
    return _filled(house)


def _filled(house, code="A", **told) -> Lot:
    return bottling_room.record(bottling_room.plan(house.room, lot_code=code), **told).packed_lot


@pytest.fixture
def candle(house):
    return jar_room.candles(house.shelf)


@pytest.fixture
def box(house, candle):
    """Two jars and a candle in a carton of 80 cents."""
    return jar_room.box(house, candle=candle.product)


def by() -> dict:
    return {"changed_by": builders.person(), "key": builders.new_key()}


def make(house, box, boxes=10, **asked) -> JarChange:
    return gift_boxes.put_together(box=box, place=house.shelf, boxes=boxes, **by() | asked)


def apart(house, lot, boxes=1, **asked) -> JarChange:
    return gift_boxes.take_apart(lot=lot, place=house.shelf, boxes=boxes, **by() | asked)


def there(lot: Lot, place: Place) -> int:
    found = Balance.objects.filter(lot=lot, place=place).first()
    return found.quantity if found else 0


def test_boxes_are_a_lot_that_shows_the_jars_and_the_extractions_in_it(house, jars, candle, box):
    made = make(house, box).lot

    # 20 of 96 jars with 43,593 g: 9,081.875 g. A candle has no honey.
    assert {link.parent: link.grams for link in made.parent_links.all()} == {
        jars: 9_082,
        candle: 0,
    }
    assert [(origin.lot, origin.share) for origin in made.origins()] == [(house.room.lot, 1)]
    assert made in jars.descendants()
    assert made in candle.descendants()
    assert (there(jars, house.shelf), there(candle, house.shelf)) == (76, 30)
    assert there(made, house.shelf) == 10
    assert list(books.faults()) == []


def test_boxes_cost_what_is_in_them_the_carton_and_the_work(house, jars, box):
    made = make(house, box, boxes=10).lot

    # 20 jars of 30,570 + 98 labels at 20 for 96, 10 candles at 250, 10 cartons at 80.
    assert jars.cost_cents == 32_530
    assert made.cost_cents == 6_777 + 2_500 + 800


def test_boxes_are_best_by_the_first_day_of_what_is_in_them(house, jars, box):
    Lot.objects.filter(pk=jars.pk).update(best_by=date(2027, 3, 1))

    assert make(house, box).lot.best_by == date(2027, 3, 1)


def test_the_oldest_lots_go_in_first_and_what_is_promised_or_held_stays(house, jars, box):
    held = _filled(house, "B")
    Lot.objects.filter(pk=held.pk).update(is_on_hold=True, best_by=date(2027, 1, 1))
    later = _filled(house, "C")
    ledger.reserve([ledger.ReservedStock(jars.product.item, house.shelf, jars, 90)])

    change = make(house, box, boxes=10)

    assert {row.lot: row.pieces for row in change.changed.all()} == {
        jars: 6,
        later: 14,
        Lot.objects.get(code="C1"): 10,
    }


def test_chosen_lots_go_in(house, jars, candle, box):
    later = _filled(house, "C")

    change = make(house, box, boxes=3, lots={later: 6, candle: 3})

    assert {row.lot: row.pieces for row in change.changed.all()} == {later: 6, candle: 3}


def test_chosen_lots_must_be_as_many_as_the_boxes_hold(house, jars, candle, box):
    with pytest.raises(BadValue) as refused:
        make(house, box, boxes=3, lots={jars: 5, candle: 3})

    assert refused.value.parameter == "lots"
    assert refused.value.message == (
        "The pieces of these lots come to 8 pieces; the boxes have 9 pieces in them."
    )


def test_too_few_jars_make_no_box(house, jars, box):
    with pytest.raises(NotEnoughStock, match="Asked for: 41"):
        make(house, box, boxes=41)


def test_a_code_that_is_taken_is_refused(house, jars, box):
    make(house, box, boxes=1, lot_code="W1")

    with pytest.raises(BadValue, match="Lot W1 of Winter box is there already"):
        make(house, box, boxes=1, lot_code="W1")


# ------------------------------------------------------------------ taken apart


def test_what_was_in_a_box_goes_back_to_its_lots(house, jars, candle, box):
    made = make(house, box).lot

    apart(house, made, boxes=4)

    assert (there(jars, house.shelf), there(candle, house.shelf)) == (76 + 8, 30 + 4)
    assert there(made, house.shelf) == 6
    assert gift_boxes.inside_of(made) == {jars: 12, candle: 6}
    assert list(books.faults()) == []


def test_jars_of_several_lots_come_out_as_somebody_says(house, jars, candle, box):
    later = _filled(house, "C")
    made = make(house, box, boxes=2, lots={jars: 2, later: 2, candle: 2}).lot

    apart(house, made, boxes=1, lots={later: 2, candle: 1})

    assert (there(jars, house.shelf), there(later, house.shelf)) == (94, 96)
    with pytest.raises(SeveralProblems, match="only 0 pieces of lot C in these boxes"):
        apart(house, made, boxes=1, lots={later: 1, candle: 1})


def test_cartons_that_are_kept_go_back_to_the_stock(house, jars, box):
    carton = box.product_parts.get().part
    made = make(house, box).lot

    apart(house, made, boxes=3, parts_back={carton: 2})

    assert Balance.objects.get(item=carton.item, place=house.shelf).quantity == 50 - 10 + 2


def test_undoing_puts_what_was_in_boxes_back_and_the_link_is_gone(house, jars, box):
    change = make(house, box)

    reversals.reverse(posting=change.posting, recorded_by=builders.person(), key=builders.new_key())

    assert there(jars, house.shelf) == 96
    assert jars.descendants() == []
    assert Lot.objects.get(pk=change.lot.pk).quantity_made == 0
    assert list(books.faults()) == []


def test_jars_are_no_box_that_can_be_taken_apart(house, jars):
    with pytest.raises(BadValue, match="was not put together here"):
        apart(house, jars)


# ------------------------------------------------------------------ held, costed


def fail_a_check(lot: Lot):
    return fill_checks.record(
        run=lot.run,
        scheme="us",
        weights_milligrams=[430_000] * 12,
        weights_are_right=True,
        checked_by=builders.person(),
        key=builders.new_key(),
    )


def release(lot: Lot):
    holds.release_lot(lot=lot, reason="Topped up by hand", released_by=builders.person())


def test_a_hold_of_jars_reaches_their_boxes_and_their_release_does_too(house, jars, box):
    made = make(house, box).lot

    fail_a_check(jars)
    held = Lot.objects.get(pk=made.pk)
    free = stores.free_at(box.item, [house.shelf])
    release(jars)
    released = Lot.objects.get(pk=made.pk)

    assert held.is_on_hold
    assert held.hold_reason.startswith("Made from lot A, which is on hold. Fill check of ")
    assert free == []
    assert (released.is_on_hold, released.hold_reason) == (False, "")


def test_a_box_with_two_held_lots_waits_for_both(house, jars, candle, box):
    later = _filled(house, "C")
    made = make(house, box, boxes=2, lots={jars: 2, later: 2, candle: 2}).lot
    fail_a_check(jars)
    fail_a_check(later)

    release(jars)
    still = Lot.objects.get(pk=made.pk)
    release(later)

    assert still.is_on_hold
    assert still.hold_reason.startswith("Made from lot C")
    assert not Lot.objects.get(pk=made.pk).is_on_hold


def test_a_cost_entered_later_reaches_the_boxes(house, jars, box):
    made = make(house, box).lot

    costs.set_lot_cost(lot=house.room.lot, cost_cents=200_000)

    # Honey of 22,500 cents more for 96 jars: 55,030 cents, so 11,464.6 for 20.
    assert Lot.objects.get(pk=jars.pk).cost_cents == 55_030
    assert Lot.objects.get(pk=made.pk).cost_cents == 11_465 + 2_500 + 800


# ------------------------------------------------------------------ set up


def test_a_box_is_changed_with_its_contents(house, box, candle):
    changed = gift_boxes.save(
        box=box, name="Gift box", contents=[BoxLine(house.own, 3)], low_stock_pieces=5
    )

    assert (changed.name, changed.item.name, changed.low_stock_pieces) == (
        "Gift box",
        "Gift box",
        5,
    )
    assert [(line.product, line.quantity) for line in box.contents.all()] == [(house.own, 3)]
    assert box.product_parts.count() == 0


@pytest.mark.parametrize(
    ("contents", "parameter", "message"),
    [
        ([], "contents", "Say what is in the box."),
        (
            [("own", 101)],
            "contents.0.quantity",
            "One pound: enter how many are in one box, from 1 to 100.",
        ),
        (
            [("own", 1), ("own", 1)],
            "contents.1.product",
            "One pound is listed twice. Put it in one line.",
        ),
        (
            [("unlabelled", 1)],
            "contents.0.product",
            "One pound, no label can't be in a gift box. Choose jars with a label, or other goods.",
        ),
    ],
)
def test_what_can_not_be_in_a_box_is_refused_in_words(house, contents, parameter, message):
    lines = [BoxLine(getattr(house, name), quantity) for name, quantity in contents]

    with pytest.raises(HouseError) as refused:
        gift_boxes.save(name="Box", contents=lines)

    assert (refused.value.parameter, refused.value.message) == (parameter, message)
    assert not Product.objects.filter(kind="gift_box").exists()


def test_creamed_honey_goes_into_no_box_before_its_day(house, jars, box):
    day = builders.today() + timedelta(days=9)
    Lot.objects.filter(pk=jars.pk).update(ready_on=day)

    with pytest.raises(HouseError) as chosen:
        make(house, box, boxes=1, lots={jars: 2, Lot.objects.get(code="C1"): 1})
    with pytest.raises(NotEnoughStock) as oldest:
        make(house, box, boxes=1)

    assert chosen.value.problems[0].message == (
        f"Lot A is setting: it is ready from {date_format(day)}. Choose another lot, or wait."
    )
    assert oldest.value.message == (
        "Not enough One pound in Shelf. Asked for: 2. Free: 0. "
        f"Ready from {date_format(day)}: 96 pieces of lot A."
    )


def test_a_box_is_ready_when_all_that_is_in_it_is(house, jars, box):
    Lot.objects.filter(pk=jars.pk).update(ready_on=builders.today())

    assert make(house, box).lot.ready_on == builders.today()


def test_what_is_on_hold_is_named_where_nothing_else_is_there(house, jars, box):
    Lot.objects.filter(pk=jars.pk).update(is_on_hold=True, hold_reason="Underfilled")

    with pytest.raises(NotEnoughStock) as refused:
        make(house, box, boxes=1)
    with pytest.raises(HouseError) as chosen:
        make(house, box, boxes=1, lots={jars: 2, Lot.objects.get(code="C1"): 1})

    assert refused.value.message == (
        "Not enough One pound in Shelf. Asked for: 2. Free: 0. "
        "On hold, not for sale: 96 pieces of lot A."
    )
    assert chosen.value.message == "Lot A is on hold: Underfilled. Release it first."
    previewed = preview_boxes(box=box, place=house.shelf, boxes=1)
    assert previewed.warnings == [
        "One pound: the boxes need 2. Free on Shelf: 0.",
        "One pound, on hold: 96 pieces (lot A).",
    ]

"""The laws of the stock ledger, through its one door."""

import pytest
from django.db import IntegrityError, transaction

from inventory.shared.errors import AlreadyRecorded, CannotReverse, NotEnoughStock, StockReserved
from inventory.stock.models import Balance, Item, Place, Posting, PostingLine
from inventory.stock.queries import books
from inventory.stock.services import ledger
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF)


@pytest.fixture
def jars():
    return builders.product("One pound")


def sell(jars, lot, shelf, pieces, owner, key):
    return ledger.post(
        kind="sale",
        lines=ledger.move(
            item=jars.item,
            lot=lot,
            source=shelf,
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=pieces,
        ),
        recorded_by=owner,
        key=key,
    )


@pytest.mark.parametrize(("pieces", "left"), [(47, 1), (48, 0)])
def test_stock_may_leave_down_to_nothing(shelf, jars, owner, key, pieces, left):
    lot = builders.packed_lot(jars, shelf, 48)

    sell(jars, lot, shelf, pieces, owner, key())

    assert Balance.objects.get(place=shelf).quantity == left
    assert list(books.faults()) == []


def test_no_place_holds_less_than_nothing(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)

    with pytest.raises(NotEnoughStock) as refused:
        sell(jars, lot, shelf, 49, owner, key())

    assert str(refused.value) == (
        "Not enough One pound: 49 pieces needed, but shelf has only 48 pieces."
    )
    assert Balance.objects.get(place=shelf).quantity == 48
    assert Posting.objects.filter(kind="sale").count() == 0


def test_the_same_key_posts_once(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    once = key()
    first = sell(jars, lot, shelf, 1, owner, once)

    with pytest.raises(AlreadyRecorded) as refused:
        sell(jars, lot, shelf, 1, owner, once)

    assert refused.value.made == first
    assert Balance.objects.get(place=shelf).quantity == 47


def test_a_posting_must_add_up_to_zero_for_each_item(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    other = builders.product("Two pound")

    with pytest.raises(ledger.LedgerLawBroken):
        ledger.post(
            kind="transfer",
            lines=[
                ledger.Line(jars.item, shelf, lot, -1),
                ledger.Line(other.item, shelf, lot, 1),
            ],
            recorded_by=owner,
            key=key(),
        )

    assert list(books.faults()) == []


def test_reserved_stock_stays_until_it_is_released(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    promised = ledger.ReservedStock(jars.item, shelf, lot, 40)
    ledger.reserve([promised])

    with pytest.raises(StockReserved) as refused:
        sell(jars, lot, shelf, 9, owner, key())
    assert str(refused.value) == (
        "Not enough One pound in shelf. Reserved for orders: 40 pieces. Needed: 9 pieces. "
        "Free: 8 pieces."
    )

    ledger.release([promised])
    sell(jars, lot, shelf, 9, owner, key())

    assert Balance.objects.get(place=shelf).quantity == 39


def test_no_more_is_reserved_than_is_free(shelf, jars):
    lot = builders.packed_lot(jars, shelf, 48)
    ledger.reserve([ledger.ReservedStock(jars.item, shelf, lot, 40)])

    with pytest.raises(NotEnoughStock):
        ledger.reserve([ledger.ReservedStock(jars.item, shelf, lot, 9)])

    assert Balance.objects.get(place=shelf).reserved == 40


def test_a_reversal_brings_everything_back_and_can_be_made_once(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    sale = sell(jars, lot, shelf, 5, owner, key())

    reversal = ledger.reverse(posting=sale, recorded_by=owner, key=key())

    assert Balance.objects.get(place=shelf).quantity == 48
    assert reversal.reverses == sale
    with pytest.raises(CannotReverse, match="undone already"):
        ledger.reverse(posting=sale, recorded_by=owner, key=key())
    with pytest.raises(
        CannotReverse, match="This entry undoes an earlier one, so it can't be undone itself"
    ):
        ledger.reverse(posting=reversal, recorded_by=owner, key=key())
    assert list(books.faults()) == []


def test_what_has_moved_on_cannot_be_undone(shelf, jars, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    run = Posting.objects.get()
    sell(jars, lot, shelf, 1, owner, key())

    with pytest.raises(CannotReverse, match="the goods have since been moved or used"):
        ledger.reverse(posting=run, recorded_by=owner, key=key())

    assert Balance.objects.get(place=shelf).quantity == 47


def test_postings_are_never_changed_or_deleted(shelf, jars):
    builders.packed_lot(jars, shelf, 48)
    posting, line = Posting.objects.get(), PostingLine.objects.first()

    for attempt in (
        posting.save,
        posting.delete,
        line.save,
        line.delete,
        Posting.objects.all().delete,
        PostingLine.objects.all().delete,
        lambda: PostingLine.objects.update(quantity=1),
    ):
        with pytest.raises(TypeError, match="Post a reversal instead"):
            attempt()


@pytest.mark.parametrize(
    ("change", "law"),
    [
        ({"quantity": -1}, "balance_physical_quantity_gte_0"),
        ({"reserved": -1}, "balance_reserved_between_0_and_quantity"),
        ({"reserved": 49}, "balance_reserved_between_0_and_quantity"),
    ],
)
def test_the_database_itself_keeps_the_laws(shelf, jars, change, law):
    builders.packed_lot(jars, shelf, 48)

    with pytest.raises(IntegrityError, match=law), transaction.atomic():
        Balance.objects.filter(place=shelf).update(**change)


def test_verification_names_a_balance_that_was_tampered_with(shelf, jars):
    lot = builders.packed_lot(jars, shelf, 48)
    Balance.objects.filter(place=shelf).update(quantity=50)

    faults = list(books.faults())

    assert faults == [
        f"One pound of lot {lot.code} at shelf: the lines add up to 48, the balance says 50."
    ]


def test_there_is_one_bulk_honey(db):
    assert Item.objects.honey() == Item.objects.honey()
    with pytest.raises(IntegrityError, match=r"item\.kind|item_honey_is_one"), transaction.atomic():
        Item.objects.create(kind=Item.Kind.HONEY, name="another")

"""Honesty boxes: what is missing from the shelf is sold, and the cash in the box pays for it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.billing import box_sums
from apiary_sales.billing.models import EntryLine, HonestyCount, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries import honesty_boxes as found
from apiary_sales.billing.queries import stand as stand_places
from apiary_sales.billing.queries.stand_days import unopened
from apiary_sales.billing.services import book, honesty_boxes, stand_days
from apiary_sales.billing.services.honesty_boxes import ShelfCounted
from apiary_sales.pricing.models import PiecePrice
from inventory.shared.errors import AlreadyRecorded, BadValue, CannotReverse, NotAllowedNow
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import NOON, TODAY


@pytest.fixture
def box(stand):
    return honesty_boxes.set_up(place=stand, set_up_by=builders.person(), key=builders.new_key())


@pytest.fixture
def started(box, pounds, quarts):
    """The box after its first count, when the books were right: 24 and 6 on the shelf."""
    count(box, {pounds: 24, quarts: 6})
    return box


def count(box, shelf, cash=0, **more):
    return honesty_boxes.count(
        box=box,
        lines=[ShelfCounted(product, pieces) for product, pieces in shelf.items()],
        cash_cents=cash,
        counted_by=builders.person("stand"),
        key=more.pop("key", None) or builders.new_key(),
        **more,
    )


def undo(made):
    return honesty_boxes.undo(
        count=made, undone_by=builders.person("stand"), key=builders.new_key(), reason="Miscounted"
    )


def at_stand(product):
    found = Balance.objects.filter(item=product.item, place__code="stand")
    return sum(balance.quantity for balance in found)


def account(name):
    return book.balance_cents(EntryLine.Account(name), TODAY + timedelta(days=30))


def no_faults():
    return [*books.faults(), *stock_books.faults()] == []


@pytest.mark.django_db
def test_the_first_count_only_says_what_is_there(box, pounds, quarts):
    made = count(box, {pounds: 20, quarts: 6}, cash=700)

    assert (made.is_first, made.sale, made.short_cents, made.on_top_cents) == (True, None, 0, 700)
    assert made.count_posting.kind == Posting.Kind.COUNT
    assert at_stand(pounds) == 20
    assert not StandSale.objects.exists()
    assert (account("cash"), account("gifts")) == (700, -700)
    assert no_faults()


@pytest.mark.django_db
def test_what_is_missing_is_sold_for_the_cash_in_the_box(started, honey_tax, pounds, quarts):
    # 3 × 8.00 and 1 × 21.00 = 45.00, with 6.25 %: 24.00 + 1.50 and 21.00 + 1.31
    made = count(started, {pounds: 21, quarts: 5}, cash=4_781)

    assert (made.expected_cents, made.short_cents, made.on_top_cents) == (4_781, 0, 0)
    sale = made.sale
    assert (sale.source, sale.sold_by.username) == ("honesty_box", "stand")
    assert sale.order.customer is None
    assert sale.receipt.open_cents == 0
    assert (at_stand(pounds), at_stand(quarts)) == (21, 5)
    assert account("cash") == 4_781
    assert no_faults()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("cash", "short", "on_top"),
    [(0, 2_400, 0), (2_399, 1, 0), (2_400, 0, 0), (2_401, 0, 1)],
)
def test_cash_is_short_or_over_by_name(started, pounds, quarts, cash, short, on_top):
    made = count(started, {pounds: 21, quarts: 6}, cash=cash)

    assert (made.short_cents, made.on_top_cents) == (short, on_top)
    assert (account("cash"), account("write_offs"), account("gifts")) == (cash, short, -on_top)
    reasons = made.sale.receipt.adjustments.values_list("reason", flat=True)
    assert list(reasons) == (["Missing from the honesty box"] if short else [])
    assert made.sale.receipt.open_cents == 0
    assert no_faults()


@pytest.mark.django_db
def test_pieces_go_at_the_price_of_one_however_many_are_gone(started, pounds, quarts):
    PiecePrice.objects.create(
        tier="stand", product=pounds, min_pieces=3, piece_cents=700, valid_from=date(2026, 1, 1)
    )

    assert count(started, {pounds: 21, quarts: 6}, cash=2_400).expected_cents == 2_400


@pytest.mark.django_db
def test_a_price_that_changed_since_is_told_and_the_new_one_taken(started, pounds, quarts):
    PiecePrice.objects.create(
        tier="stand", product=pounds, piece_cents=900, valid_from=TODAY + timedelta(days=2)
    )

    with time_machine.travel(NOON + timedelta(days=7), tick=False):
        made = count(started, {pounds: 23, quarts: 6}, cash=900)

    line = made.lines.get(product=pounds)
    assert (line.unit_price, line.price_before) == (Decimal("9"), Decimal("8"))
    assert made.lines.get(product=quarts).price_before is None
    assert made.expected_cents == 900


@pytest.mark.django_db
def test_more_on_the_shelf_than_in_the_books_is_counted_in_first(started, pounds, quarts):
    with pytest.raises(BadValue) as refused:
        count(started, {pounds: 25, quarts: 4}, cash=4_200)
    assert refused.value.parameter == "surplus_reason"

    made = count(
        started, {pounds: 25, quarts: 4}, cash=4_200, surplus_reason="One was left uncounted."
    )

    assert made.lines.get(product=pounds).surplus == 1
    assert (at_stand(pounds), at_stand(quarts)) == (25, 4)
    assert [line.quantity for line in made.sale.order.lines.all()] == [2]
    assert no_faults()


@pytest.mark.django_db
def test_cash_without_a_missing_piece_is_given_on_top(started, pounds, quarts):
    made = count(started, {pounds: 24, quarts: 6}, cash=500)

    assert (made.sale, made.on_top_cents, account("gifts")) == (None, 500, -500)
    assert no_faults()


@pytest.mark.django_db
def test_each_product_on_the_shelf_is_counted(started, pounds):
    with pytest.raises(BadValue) as refused:
        count(started, {pounds: 24})

    assert refused.value.message == "Three pound: count it too. Enter 0 if none is left."


@pytest.mark.django_db
def test_a_product_without_a_stand_price_is_refused_at_its_line(box, stand, pounds, quarts):
    candle = builders.goods("Candle", code="candle")
    builders.goods_lot(candle, stand, 10)
    count(box, {pounds: 24, quarts: 6, candle: 10})

    with pytest.raises(BadValue) as refused:
        count(box, {pounds: 24, quarts: 6, candle: 9})

    assert (refused.value.parameter, refused.value.message) == (
        "lines.2.counted",
        "No stand price is set for Candle.",
    )


@pytest.mark.django_db
def test_the_same_count_sent_twice_counts_once(started, pounds, quarts):
    count(started, {pounds: 20, quarts: 6}, cash=3_200, key="box-1")

    with pytest.raises(AlreadyRecorded):
        count(started, {pounds: 20, quarts: 6}, cash=3_200, key="box-1")

    assert StandSale.objects.count() == 1


@pytest.mark.django_db
def test_an_undone_count_leaves_nothing_behind(started, honey_tax, pounds, quarts):
    made = count(started, {pounds: 20, quarts: 7}, cash=3_000, surplus_reason="One more.")

    undo(made)

    assert (at_stand(pounds), at_stand(quarts)) == (24, 6)
    assert (account("cash"), account("write_offs"), account("gifts")) == (0, 0, 0)
    assert no_faults()
    with pytest.raises(CannotReverse):
        undo(made)
    assert count(started, {pounds: 21, quarts: 6}, cash=2_550).expected_cents == 2_550


@pytest.mark.django_db
def test_only_the_last_count_is_undone(started, pounds, quarts):
    made = count(started, {pounds: 20, quarts: 6}, cash=3_200)
    count(started, {pounds: 19, quarts: 6}, cash=800)

    with pytest.raises(CannotReverse):
        undo(made)

    assert HonestyCount.objects.standing().count() == 3


@pytest.mark.django_db
def test_a_count_of_an_earlier_day_is_booked_on_it(started, pounds, quarts):
    with time_machine.travel(NOON + timedelta(days=3), tick=False):
        made = count(
            started, {pounds: 22, quarts: 6}, cash=1_500, counted_on=TODAY + timedelta(days=2)
        )
        assert made.short_cents == 100
        assert made.sale.sold_at == NOON + timedelta(days=2)
        with pytest.raises(BadValue) as refused:
            count(started, {pounds: 22, quarts: 6}, counted_on=TODAY + timedelta(days=1))

    assert refused.value.parameter == "counted_on"
    assert no_faults()


@pytest.mark.django_db
def test_a_place_has_one_box_and_a_shelf_has_none(box, stand, shelf):
    for place in (stand, shelf):
        with pytest.raises(BadValue) as refused:
            honesty_boxes.set_up(place=place, set_up_by=builders.person(), key=builders.new_key())
        assert refused.value.parameter == "place"


@pytest.mark.django_db
def test_a_box_that_was_put_away_is_not_counted_and_can_come_back(started, stand, pounds, quarts):
    honesty_boxes.put_away(box=started)
    with pytest.raises(NotAllowedNow):
        count(started, {pounds: 20, quarts: 6})

    again = honesty_boxes.set_up(place=stand, set_up_by=builders.person(), key=builders.new_key())

    assert again == started
    assert count(again, {pounds: 23, quarts: 6}, cash=800).is_first is False


@pytest.mark.django_db
def test_the_history_tells_how_much_was_missing(started, pounds, quarts):
    count(started, {pounds: 21, quarts: 6}, cash=2_000)
    count(started, {pounds: 20, quarts: 6}, cash=900)

    history = found.history(started)

    # 24.00 and 8.00 were to pay, 4.00 is missing of it: 12.5 %
    assert [row.short_percent for row in history.rows] == [
        Decimal("0.0"),
        Decimal("16.7"),
        None,
    ]
    assert (history.expected_cents, history.cash_cents) == (3_200, 2_900)
    assert history.short_percent == Decimal("12.5")


@pytest.mark.django_db
def test_a_box_at_a_van_is_set_up_too(house):
    van = builders.place("van", Place.Kind.VAN)

    made = honesty_boxes.set_up(place=van, set_up_by=builders.person(), key=builders.new_key())

    assert str(made) == "van"


@given(
    expected=st.integers(min_value=0, max_value=10**9),
    cash=st.integers(min_value=0, max_value=10**9),
)
def test_the_cash_is_always_the_price_less_what_is_missing_and_what_is_on_top(expected, cash):
    made = box_sums.outcome(expected_cents=expected, cash_cents=cash)

    assert expected - made.short_cents + made.on_top_cents == cash
    assert min(made.short_cents, made.on_top_cents) == 0
    percent = box_sums.short_percent(short_cents=made.short_cents, expected_cents=expected)
    assert percent is None if expected == 0 else 0 <= percent <= 100


def test_the_till_opens_at_a_place_where_somebody_stands(box):
    builders.place("market", Place.Kind.STAND, name="Market")
    builders.place("van", Place.Kind.VAN, name="Van")

    places = list(stand_places.places(builders.person("stand")))

    assert [place.code for place in places] == ["market", "van", "stand"]
    assert [place.code for place in unopened(places, TODAY)] == ["market", "van"]

    honesty_boxes.put_away(box=box)

    assert stand_places.places(builders.person("stand"))[1].code == "stand"
    assert len(unopened(places, TODAY)) == 3


def test_one_order_of_places_begins_where_a_person_opened_the_drawer(box, client):
    market = builders.place("market", Place.Kind.STAND, name="Market")
    meadow = builders.place("meadow", Place.Kind.STAND, name="Meadow")
    builders.place("van", Place.Kind.VAN, name="Van")
    builders.place("attic", Place.Kind.SHELF, name="Attic")
    seller, owner = builders.person("stand"), builders.person("owner")
    client.force_login(seller)
    opening = client.get("/stand/days/new/").context["form"]
    assert opening["place"].value() == "market"
    assert [code for code, _name in opening.fields["place"].choices][1:] == [
        *("market", "meadow", "van", "stand")
    ]

    opened = stand_days.open_day(place=meadow, float_cents=0, opened_by=seller, key="open")

    assert codes(seller) == ["meadow", "market", "van", "stand"]
    assert codes(owner) == ["market", "meadow", "van", "attic", "stand"]
    today = client.get("/").context["today"]
    assert [glance.place for glance in today.glances][:2] == [meadow, market]

    stand_days.close(stand_day=opened, counted_cents=0, closed_by=seller, key="close")

    assert codes(seller)[0] == "market"


def test_the_till_is_told_under_which_name_shelves_and_boxes_stand(box, client):
    builders.place("market", Place.Kind.STAND, name="Market")
    builders.place("attic", Place.Kind.SHELF, name="Attic")
    client.force_login(builders.person("owner"))

    places = client.get("/stand/data/").json()["places"]

    assert [(place["code"], place["group"]) for place in places] == [
        ("market", ""),
        ("attic", "Shelves"),
        ("stand", "Honesty boxes"),
    ]


def codes(person):
    return [place.code for place in stand_places.places(person)]

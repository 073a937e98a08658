"""Orders taken, filled, cancelled and taken back, through their services."""

from datetime import timedelta
from decimal import Decimal

import pytest
from auditlog.models import LogEntry
from django.utils import timezone

from apiary_sales.billing.services import credit_notes, invoices
from apiary_sales.orders.models import Fulfilment, Order, OrderLine, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import drum_register, orders
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    LotOnHold,
    NotAllowedNow,
    NotEnoughHoney,
    NotEnoughStock,
    SeveralProblems,
    StockReserved,
)
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums
from inventory.stock.services import stores as stock_service
from tests import builders
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def take(shop, owner, key):
    """Return a maker of open shop orders."""

    def make(*lines, **fields):
        return orders.take(
            **{
                "customer": shop,
                "channel": "shop",
                "lines": lines,
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def fulfil(owner, key):
    def make(order, quantities=None, **fields):
        return orders.fulfil(
            order=order, quantities=quantities, filled_by=owner, key=key(), **fields
        )

    return make


def on_shelf(jars):
    """Return quantity and reserved of a product over all places in the house."""
    rows = Balance.objects.filter(item=jars.item, is_physical=True)
    return (sum(row.quantity for row in rows), sum(row.reserved for row in rows))


# ---------------------------------------------------------------- taking


def test_an_order_reserves_its_jars_and_keeps_them_on_the_shelf(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)

    order = take(jar_line(30))

    year = timezone.localdate().year % 100
    assert order.number == f"K{year:02d}-0001"
    assert order.status == Order.Status.OPEN
    assert order.total_cents == 19_500  # 30 × $6.50
    assert on_shelf(jars) == (48, 30)


def test_orders_are_numbered_one_after_another(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)

    numbers = [take(jar_line(1)).number[-4:] for _ in range(3)]

    assert numbers == ["0001", "0002", "0003"]


def test_the_oldest_lot_is_reserved_first_over_all_places(take, jar_line, jars, shelf, stand):
    newer = builders.packed_lot(jars, shelf, 20, best_by=timezone.localdate() + timedelta(days=700))
    older = builders.packed_lot(jars, stand, 20, best_by=timezone.localdate() + timedelta(days=400))

    take(jar_line(25))

    assert list(Reservation.objects.order_by("id").values_list("balance__lot", "quantity")) == [
        (older.pk, 20),
        (newer.pk, 5),
    ]


def test_two_lines_of_one_product_never_get_the_same_jars(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 10)

    with pytest.raises(NotEnoughStock) as refused:
        take(jar_line(6), jar_line(5))

    assert str(refused.value) == (
        "Not enough One pound. Asked for: 5 pieces. Free: 4 pieces. Take fewer, or plan a "
        "bottling run."
    )
    assert refused.value.parameter == "lines.1.quantity"
    assert on_shelf(jars) == (10, 0)


@pytest.mark.parametrize("asked", [47, 48])
def test_all_that_is_free_can_be_ordered(take, jar_line, jars, shelf, asked):
    builders.packed_lot(jars, shelf, 48)

    take(jar_line(asked))

    assert on_shelf(jars) == (48, asked)


def test_more_than_is_free_is_refused_and_nothing_is_kept(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    take(jar_line(20))

    with pytest.raises(NotEnoughStock) as refused:
        take(jar_line(29))

    assert str(refused.value) == (
        "Not enough One pound. Asked for: 29 pieces. Free: 28 pieces. Reserved for orders: "
        "20 pieces. Take fewer, or plan a bottling run."
    )
    assert Order.objects.count() == 1
    assert on_shelf(jars) == (48, 20)


def test_every_product_that_is_short_is_named(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 5)
    big = builders.product("Two pound")

    with pytest.raises(SeveralProblems) as refused:
        take(jar_line(6), jar_line(2, product=big))

    assert [(problem.parameter, problem.message) for problem in refused.value.problems] == [
        (
            "lines.0.quantity",
            "Not enough One pound. Asked for: 6 pieces. Free: 5 pieces. Take fewer, or "
            "plan a bottling run.",
        ),
        (
            "lines.1.quantity",
            "Not enough Two pound. Asked for: 2 pieces. Free: 0 pieces. Take fewer, or "
            "plan a bottling run.",
        ),
    ]


def test_a_lot_on_hold_is_not_promised_to_anybody(take, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Short fill")

    with pytest.raises(NotEnoughStock) as refused:
        take(jar_line(1))

    assert "Free: 0 pieces." in str(refused.value)


def test_the_same_order_sent_twice_is_taken_once(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    first = take(jar_line(10), key="once")

    with pytest.raises(AlreadyRecorded) as refused:
        take(jar_line(10), key="once")

    assert refused.value.made == first
    assert on_shelf(jars) == (48, 10)


def test_what_is_wrong_with_an_order_is_told_all_at_once(take, jar_line, jars):
    yesterday = timezone.localdate() - timedelta(days=1)

    with pytest.raises(SeveralProblems) as refused:
        take(
            jar_line(0),
            jar_line(1, price="-1"),
            jar_line(1, price="6.12345"),
            jar_line(2, discount_cents=1301),
            jar_line(1, discount_cents=-1),
            customer=None,
            wanted_on=yesterday,
        )

    assert {problem.parameter: problem.message for problem in refused.value.problems} == {
        "customer": "Choose the customer.",
        "wanted_on": "The day it is wanted is before the day of the order. Choose a later day.",
        "lines.0.quantity": "Enter one piece or more.",
        "lines.1.unit_price": "Enter a price from zero to a million.",
        "lines.2.unit_price": "Enter a price with at most four decimals.",
        "lines.3.discount_cents": (
            "The discount of $13.01 is more than the amount of the line, $13.00. Enter a "
            "smaller discount."
        ),
        "lines.4.discount_cents": "A discount can't be below zero.",
    }
    assert Order.objects.count() == 0


def test_an_order_needs_a_line(take):
    with pytest.raises(BadValue, match="Put at least one thing on the order") as refused:
        take()

    assert refused.value.parameter == "lines"


def test_a_customer_who_left_buys_nothing(take, jar_line, jars, shelf, shop):
    builders.packed_lot(jars, shelf, 48)
    shop.is_active = False
    shop.save()

    with pytest.raises(BadValue) as refused:
        take(jar_line(1))

    assert str(refused.value) == (
        "Corner Grocery is marked as inactive. Make this customer active first."
    )
    assert on_shelf(jars) == (48, 0)


def test_a_discount_may_take_the_whole_line_and_no_cent_more(take, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)

    order = take(jar_line(2, discount_cents=1300))

    assert order.total_cents == 0


@pytest.mark.parametrize(
    ("grams", "price", "cents"),
    [
        # 1 lb = 453.59237 g exactly (NIST Handbook 44, appendix C); worked out by hand:
        (295_000, "2.15", 139_828),  # 650.3636… lb × 2.15 = 1,398.2818…, half up 1,398.28
        (453_592, "1.00", 100_000),  # 999.9992… lb: 999.9992 → 1,000.00
        (1, "2.50", 1),  # 0.0022046 lb: 0.55 cents → 1
        (1, "2.00", 0),  # 0.44 cents → 0
    ],
)
def test_honey_is_priced_by_the_exact_pound(grams, price, cents):
    line = orders.LineWanted(kind="honey", quantity=grams, unit_price=Decimal(price))

    assert line.amount_cents == cents


def test_half_a_cent_of_a_line_rounds_up():
    line = orders.LineWanted(kind="packed", quantity=3, unit_price=Decimal("0.0150"))

    assert line.amount_cents == 5  # 4.5 cents


# ---------------------------------------------------------------- drums


def test_a_drum_is_reserved_whole(take, drum_line, full_drum):
    drum = full_drum(7)

    order = take(drum_line(drum), channel="bulk")

    line = order.lines.get()
    assert (line.quantity, line.amount_cents) == (295_000, 139_828)
    assert line.lot == Balance.objects.in_vessel(drum).lot
    assert line.description == "Drum 7: Clover, White, 17.4\N{NO-BREAK SPACE}%"
    assert Balance.objects.in_vessel(drum).reserved == 295_000


def test_a_reserved_drum_is_refused_to_the_second_buyer(take, drum_line, full_drum):
    drum = full_drum(7)
    first = take(drum_line(drum), channel="bulk")

    with pytest.raises(StockReserved) as refused:
        take(drum_line(drum), channel="bulk")

    assert str(refused.value) == (f"Drum 7 is reserved for order {first.number}. Choose another.")
    assert refused.value.parameter == "lines.0.drum"
    assert Order.objects.count() == 1


def test_an_empty_drum_is_not_sold(take, drum_line, full_drum, owner, key):
    drum = full_drum(7)
    wanted = drum_line(drum)
    drums.drain(drum=drum, target=builders.place("t2"), recorded_by=owner, key=key())

    with pytest.raises(NotEnoughHoney, match=r"Drum 7 is empty or no longer here. Choose another."):
        take(wanted, channel="bulk")


def test_part_of_a_drum_is_not_sold(take, drum_line, full_drum):
    drum = full_drum(7)

    with pytest.raises(NotAllowedNow) as refused:
        take(drum_line(drum, grams=100_000), channel="bulk")

    lot = Balance.objects.in_vessel(drum).lot
    assert str(refused.value) == (
        f"Drum 7 has changed since the quote. It now has 650 lb of lot {lot.code}; "
        "the quote says 220 lb. Make a new quote."
    )


def test_a_drum_can_stand_on_one_line_only(take, drum_line, full_drum):
    drum = full_drum(7)

    with pytest.raises(BadValue, match=r"Drum 7 is on the list twice. Remove one."):
        take(drum_line(drum), drum_line(drum), channel="bulk")


def drums_back(order, drums, person, key):
    outings = drum_register.outings_of(order, drums)
    return drum_register.take_back(outings=outings, received_by=person, key=key)


def test_a_drum_on_deposit_leaves_with_its_honey_and_comes_back_empty(
    take, fulfil, drum_line, full_drum, owner, key
):
    drum = full_drum(7)
    order = take(drum_line(drum), charge("drum_deposit", 1, "40"), channel="bulk")

    fulfil(order)
    drum.refresh_from_db()

    assert Balance.objects.in_vessel(drum) is None
    assert drum.is_active is False

    drums_back(order, [drum], owner, key())
    drum.refresh_from_db()

    assert drum.is_active is True
    assert order.events.get().note == "Drum 7"


def test_the_trail_of_changes_tells_when_a_drum_leaves_and_comes_back(
    take, fulfil, drum_line, full_drum, owner, key
):
    drum = full_drum(7)
    order = take(drum_line(drum), charge("drum_deposit", 1, "40"), channel="bulk")
    LogEntry.objects.all().delete()

    fulfilment = fulfil(order)
    drums_back(order, [drum], owner, key())
    orders.take_back(fulfilment=fulfilment, taken_by=owner, key=key(), reason="Wrong drum")

    told = LogEntry.objects.filter(object_repr="Drum 7").order_by("id")
    assert [entry.changes for entry in told] == [
        {"is_active": [True, False]},
        {"is_active": [False, True]},
    ]


def test_a_drum_comes_back_once_and_only_from_its_buyer(
    take, fulfil, drum_line, full_drum, owner, key
):
    drum, other = full_drum(7), full_drum(8)
    order = take(drum_line(drum), charge("drum_deposit", 1, "40"), channel="bulk")
    fulfil(order)
    drums_back(order, [drum], owner, key())

    with pytest.raises(SeveralProblems) as refused:
        drums_back(order, [drum, other], owner, key())

    assert [problem.message for problem in refused.value.problems] == [
        "Drum 7 is back already.",
        f"Drum 8 did not go out with order {order.number}.",
    ]


def test_a_buyer_with_drums_of_their_own_leaves_ours_here(take, fulfil, drum_line, full_drum):
    drum = full_drum(7)

    fulfil(take(drum_line(drum), channel="bulk"))
    drum.refresh_from_db()

    assert Balance.objects.in_vessel(drum) is None
    assert drum.is_active is True


def test_deposits_follow_the_drums_that_leave(take, fulfil, drum_line, full_drum):
    one, two = full_drum(1), full_drum(2)
    order = take(drum_line(one), drum_line(two), charge("drum_deposit", 2, "40"), channel="bulk")
    first, _second, deposit = order.lines.all()

    fulfil(order, {first.pk: first.quantity})
    deposit.refresh_from_db()
    order.refresh_from_db()
    one.refresh_from_db()
    two.refresh_from_db()

    assert deposit.filled == 1
    assert order.status == Order.Status.PART_FILLED
    assert (one.is_active, two.is_active) == (False, True)


def test_a_drum_leaves_whole_or_not_at_all(take, fulfil, drum_line, full_drum):
    order = take(drum_line(full_drum(7)), channel="bulk")
    line = order.lines.get()

    with pytest.raises(BadValue) as refused:
        fulfil(order, {line.pk: 1000})

    assert str(refused.value) == "Drum 7 can only be handed over whole. Enter the whole drum, or 0."
    assert refused.value.parameter == f"quantities.{line.pk}"


def test_honey_from_a_tank_is_drawn_when_it_leaves(take, fulfil, drum_line):
    tank = builders.place("tank-1", name="Tank 1")
    lot = builders.lot_in(tank, 500_000, cost_cents=100_000)
    order = take(drum_line(tank, grams=200_000), channel="bulk")
    assert Balance.objects.in_vessel(tank).reserved == 0

    fulfil(order, {order.lines.get().pk: 50_000})

    row = order.fulfilments.get().lines.get()
    assert Balance.objects.in_vessel(tank).quantity == 450_000
    assert (row.lot, row.cost_cents) == (lot, 10_000)


def test_a_tank_that_holds_too_little_is_not_sold(take, drum_line):
    tank = builders.place("tank-1", name="Tank 1")
    builders.lot_in(tank, 100_000)

    with pytest.raises(NotEnoughHoney) as refused:
        take(drum_line(tank, grams=200_000), channel="bulk")

    assert str(refused.value) == (
        "Not enough honey: you asked for 441 lb, and Tank 1 has 220 lb free. Take less, or "
        "choose another vessel."
    )


# ---------------------------------------------------------------- filling


def test_filling_posts_the_sale_and_ends_the_reservation(take, fulfil, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48, cost_cents=9_600)
    order = take(jar_line(30))

    done = fulfil(order)
    order.refresh_from_db()

    assert order.status == Order.Status.FILLED
    assert on_shelf(jars) == (18, 0)
    assert Balance.objects.get(place__kind="customer").quantity == 30
    assert (done.posting.kind, done.posting.note) == (Posting.Kind.SALE, order.number)
    row = done.lines.get()
    assert (row.lot, row.quantity, row.amount_cents) == (lot, 30, 19_500)
    assert row.cost_cents == 6_000  # 9,600 cents × 30 / 48
    assert order.lines.get().cost_cents == 6_000


def test_an_order_can_be_filled_in_parts(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    line = order.lines.get()

    fulfil(order, {line.pk: 12})
    order.refresh_from_db()

    assert order.status == Order.Status.PART_FILLED
    assert on_shelf(jars) == (36, 18)

    fulfil(order, {line.pk: 18})
    order.refresh_from_db()

    assert order.status == Order.Status.FILLED
    assert on_shelf(jars) == (18, 0)


def test_the_parts_of_a_line_add_up_to_the_line_to_the_cent(
    take, fulfil, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 1, cost_cents=100)
    builders.packed_lot(jars, shelf, 2, cost_cents=None)
    # 3 × 33.3333 = 100.00 exactly when rounded: an amount three parts can't share evenly.
    order = take(jar_line(3, price="0.3333"))
    line = order.lines.get()

    parts = [fulfil(order, {line.pk: 1}) for _ in range(3)]
    orders.take_back(fulfilment=parts[0], taken_by=owner, key=key(), reason="wrong shop")
    fulfil(order)

    standing = Fulfilment.objects.filter(is_taken_back=False)
    assert sum(row.amount_cents for part in standing for row in part.lines.all()) == 100


def test_the_costs_of_a_lot_sold_out_add_up_to_its_cost(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 3, cost_cents=100)
    order = take(jar_line(3))
    line = order.lines.get()

    costs = [fulfil(order, {line.pk: 1}).lines.get().cost_cents for _ in range(3)]

    assert costs == [33, 34, 33]


def test_an_unknown_cost_stays_unknown(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 10, cost_cents=500, best_by=timezone.localdate())
    builders.packed_lot(jars, shelf, 10, cost_cents=None)
    order = take(jar_line(15))

    done = fulfil(order)

    assert sorted((row.quantity, row.cost_cents) for row in done.lines.all()) == [
        (5, None),
        (10, 500),
    ]
    assert order.lines.get().cost_cents is None


def test_no_more_is_handed_over_than_is_left_to_fill(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    line = order.lines.get()
    fulfil(order, {line.pk: 20})

    with pytest.raises(BadValue) as refused:
        fulfil(order, {line.pk: 11})

    assert str(refused.value) == (
        "Too much of One pound. Entered: 11 pieces. Left to hand over: 10 pieces. Enter no "
        "more than that."
    )
    assert refused.value.parameter == f"quantities.{line.pk}"
    assert on_shelf(jars) == (28, 10)


def test_a_filling_hands_something_over(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))

    with pytest.raises(
        BadValue, match="Enter how much is handed over for at least one line"
    ) as refused:
        fulfil(order, {order.lines.get().pk: 0})

    assert refused.value.parameter == "quantities"


def test_a_line_of_another_order_is_not_filled(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order, other = take(jar_line(1)), take(jar_line(1))

    with pytest.raises(BadValue, match="That line is not on this order") as refused:
        fulfil(order, {other.lines.get().pk: 1})

    assert refused.value.parameter == f"quantities.{other.lines.get().pk}"


def test_the_same_filling_sent_twice_is_done_once(take, jar_line, jars, shelf, owner):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    line = order.lines.get()
    first = orders.fulfil(order=order, quantities={line.pk: 10}, filled_by=owner, key="once")

    with pytest.raises(AlreadyRecorded) as refused:
        orders.fulfil(order=order, quantities={line.pk: 10}, filled_by=owner, key="once")

    assert refused.value.made == first
    assert on_shelf(jars) == (38, 20)


def test_jars_put_on_hold_since_are_not_handed_over(take, fulfil, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48, code="L26001")
    order = take(jar_line(30))
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="Short fill")

    with pytest.raises(LotOnHold) as refused:
        fulfil(order)

    assert str(refused.value) == "Lot L26001 is on hold and can't be sold: Short fill"
    assert on_shelf(jars) == (48, 30)


def test_a_filled_order_is_not_filled_again(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    fulfil(order)

    with pytest.raises(NotAllowedNow) as refused:
        fulfil(order)

    assert str(refused.value) == (
        f"Order {order.number} is filled. No goods can be handed over for it."
    )


def test_nothing_is_handed_over_tomorrow(take, fulfil, jar_line, jars, shelf):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))

    with pytest.raises(BadValue, match="The day of the handover is in the future"):
        fulfil(order, filled_on=timezone.localdate() + timedelta(days=1))


def test_goods_leave_no_earlier_than_they_were_made(take, fulfil, jar_line, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))

    with pytest.raises(BadValue) as refused:
        fulfil(order, filled_on=lot.made_on - timedelta(days=1))

    assert (refused.value.parameter, refused.value.message) == (
        "filled_on",
        f"Lot {lot.code} was made on Aug 1, 2026, so it can't be handed over before that day. "
        "Choose a later day, or another lot.",
    )
    assert not Fulfilment.objects.exists()

    fulfil(order, filled_on=lot.made_on)

    assert Fulfilment.objects.get().filled_on == lot.made_on


def test_reserved_jars_are_not_given_away(take, jar_line, jars, shelf, owner, key):
    lot = builders.packed_lot(jars, shelf, 48)
    take(jar_line(40))

    with pytest.raises(StockReserved) as refused:
        stock_service.write_off(
            item=jars.item,
            lot=lot,
            place=shelf,
            pieces=9,
            reason="gift",
            recorded_by=owner,
            key=key(),
        )

    assert "Not enough One pound in Shelf. Reserved for orders: 40 pieces." in str(refused.value)
    assert on_shelf(jars) == (48, 40)


# ---------------------------------------------------------------- the stand


def test_a_stand_sale_takes_free_jars_of_the_stand_oldest_first(
    jar_line, jars, shelf, stand, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(jars, stand, 12)

    done = orders.sell_now(
        customer=None, lines=[jar_line(2)], place=stand, created_by=owner, key=key()
    )

    assert done.order.status == Order.Status.FILLED
    assert done.order.channel == Order.Channel.STAND
    assert done.lines.get().amount_cents == 1_300
    assert Balance.objects.get(place=stand).quantity == 10
    assert Balance.objects.get(place=shelf).quantity == 48


def test_the_stand_sells_no_jar_that_is_promised(take, jar_line, jars, stand, owner, key):
    builders.packed_lot(jars, stand, 12)
    take(jar_line(10))

    with pytest.raises(NotEnoughStock) as refused:
        orders.sell_now(
            customer=None, lines=[jar_line(3)], place=stand, created_by=owner, key=key()
        )

    assert str(refused.value) == (
        "Not enough One pound at Stand. Asked for: 3 pieces. Free: 2 pieces. Reserved for "
        "orders: 10 pieces. Take fewer."
    )
    assert on_shelf(jars) == (12, 10)
    assert Order.objects.count() == 1


def test_the_same_stand_sale_sent_twice_counts_once(jar_line, jars, stand, owner):
    builders.packed_lot(jars, stand, 12)
    first = orders.sell_now(
        customer=None, lines=[jar_line(3)], place=stand, created_by=owner, key="once"
    )

    with pytest.raises(AlreadyRecorded) as refused:
        orders.sell_now(
            customer=None, lines=[jar_line(3)], place=stand, created_by=owner, key="once"
        )

    assert refused.value.made == first
    assert on_shelf(jars) == (9, 0)


def test_a_whole_drum_is_not_sold_at_the_stand(drum_line, full_drum, stand, owner, key):
    with pytest.raises(BadValue, match="A whole drum is not sold at the stand"):
        orders.sell_now(
            customer=None,
            lines=[drum_line(full_drum(7))],
            place=stand,
            created_by=owner,
            key=key(),
        )


def test_a_stand_sale_taken_back_is_cancelled(jar_line, jars, stand, owner, key):
    builders.packed_lot(jars, stand, 12)
    done = orders.sell_now(
        customer=None, lines=[jar_line(3)], place=stand, created_by=owner, key=key()
    )

    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong jar")
    done.order.refresh_from_db()

    assert done.order.status == Order.Status.CANCELLED
    assert on_shelf(jars) == (12, 0)


# ---------------------------------------------------------------- cancelling and taking back


def test_cancelling_frees_what_was_reserved(take, jar_line, jars, shelf, owner, key):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))

    orders.cancel(order=order, cancelled_by=owner, key=key(), reason="shop closed")
    order.refresh_from_db()

    assert order.status == Order.Status.CANCELLED
    assert order.events.get().note == "shop closed"
    assert on_shelf(jars) == (48, 0)


def test_a_part_filled_order_is_closed_with_what_was_filled(
    take, fulfil, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    fulfil(order, {order.lines.get().pk: 10})

    orders.cancel(order=order, cancelled_by=owner, key=key(), reason="enough")
    order.refresh_from_db()

    assert order.status == Order.Status.FILLED
    assert on_shelf(jars) == (38, 0)


def test_a_filled_order_is_not_cancelled(take, fulfil, jar_line, jars, shelf, owner, key):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    fulfil(order)

    with pytest.raises(NotAllowedNow) as refused:
        orders.cancel(order=order, cancelled_by=owner, key=key(), reason="late")

    assert str(refused.value) == (f"Order {order.number} is already filled and can't be cancelled.")


def test_cancelling_needs_a_reason(take, jar_line, jars, shelf, owner, key):
    builders.packed_lot(jars, shelf, 48)

    with pytest.raises(BadValue, match="Say why it is cancelled") as refused:
        orders.cancel(order=take(jar_line(1)), cancelled_by=owner, key=key(), reason=" ")

    assert refused.value.parameter == "reason"
    assert on_shelf(jars) == (48, 1)


def test_goods_taken_back_return_to_their_shelf_and_their_order(
    take, fulfil, jar_line, jars, shelf, stand, owner, key
):
    builders.packed_lot(jars, shelf, 20, best_by=timezone.localdate())
    builders.packed_lot(jars, stand, 20)
    order = take(jar_line(30))
    line = order.lines.get()
    done = fulfil(order, {line.pk: 25})

    reversal = orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")
    order.refresh_from_db()
    line.refresh_from_db()

    assert reversal.reverses == done.posting
    assert (order.status, line.filled) == (Order.Status.OPEN, 0)
    assert on_shelf(jars) == (40, 30)

    fulfil(order)

    assert on_shelf(jars) == (10, 0)


def test_goods_are_taken_back_once(take, fulfil, jar_line, jars, shelf, owner, key):
    builders.packed_lot(jars, shelf, 48)
    done = fulfil(take(jar_line(30)))
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")

    with pytest.raises(CannotReverse, match="These goods were taken back already"):
        orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="again")

    assert on_shelf(jars) == (48, 30)


def test_goods_on_an_invoice_come_back_by_a_credit_note_alone(
    take, fulfil, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    done = fulfil(order)
    invoice = invoices.issue(order=order, issued_by=owner, key=key())

    with pytest.raises(NotAllowedNow) as refused:
        orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")

    assert str(refused.value) == (
        "These goods are on an invoice. Issue a credit note for it, and say what came back; or, "
        "where they are credited already, book them as goods back."
    )
    assert on_shelf(jars) == (18, 0)

    goods = invoice.lines.get().fulfilment_line
    back = [GoodsBack(goods, 30, shelf)]
    credit_notes.credit(
        invoice=invoice, issued_by=owner, key=key(), reason="wrong shop", goods_back=back
    )

    assert on_shelf(jars) == (48, 0)
    order.refresh_from_db()
    assert order.status == Order.Status.FILLED


def test_after_the_rest_was_cancelled_goods_taken_back_are_free(
    take, fulfil, jar_line, jars, shelf, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(30))
    done = fulfil(order, {order.lines.get().pk: 10})
    orders.cancel(order=order, cancelled_by=owner, key=key(), reason="enough")

    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="too sweet")
    order.refresh_from_db()

    assert order.status == Order.Status.CANCELLED
    assert on_shelf(jars) == (48, 0)


def test_a_drum_filled_again_does_not_take_its_old_honey_back(
    take, fulfil, drum_line, full_drum, owner, key
):
    drum = full_drum(7)
    order = take(drum_line(drum), channel="bulk")
    done = fulfil(order)
    builders.lot_in(drum, 100_000)

    with pytest.raises(CannotReverse) as refused:
        orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="sour")

    assert str(refused.value) == (
        "Drum 7 now has other honey in it. Empty it first, or receive the returned honey "
        "into another vessel."
    )


def test_a_drum_taken_back_is_in_use_and_reserved_again(
    take, fulfil, drum_line, full_drum, owner, key
):
    drum = full_drum(7)
    order = take(drum_line(drum), charge("drum_sale", 1, "25"), channel="bulk")
    done = fulfil(order)

    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="truck full")
    drum.refresh_from_db()

    assert drum.is_active is True
    assert Balance.objects.in_vessel(drum).reserved == 295_000
    assert Place.objects.get(pk=drum.pk).is_active
    assert OrderLine.objects.filter(order=order, filled__gt=0).count() == 0

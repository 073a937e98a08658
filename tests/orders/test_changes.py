"""Orders and quotes that are changed until their goods are handed over, through the services."""

from datetime import timedelta
from decimal import Decimal

import pytest

from apiary_sales.customers.services import addresses
from apiary_sales.orders.errors import OverCreditLimit, QuoteExpired
from apiary_sales.orders.models import Order, OrderEvent, OrderLine, Reservation
from apiary_sales.orders.queries import books
from apiary_sales.orders.rules.changes import OrderLineChange, state_of
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import changes, orders, quotes
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    FiguresChanged,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums, stores
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
def quote(packer, owner, key):
    def make(*lines, **fields):
        return quotes.quote(
            **{
                "customer": packer,
                "lines": lines,
                "valid_until": builders.today() + timedelta(days=14),
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def change(owner, key):
    def make(order, *asked, **fields):
        return changes.change(
            **{"order": order, "changes": asked, "changed_by": owner, "key": key(), **fields}
        )

    return make


@pytest.fixture
def substitute(owner, key):
    def make(order, line, **fields):
        return changes.substitute(
            **{
                "order": order,
                "line": line.pk,
                "substituted_by": owner,
                "key": key(),
                "reason": "agreed on the phone",
                **fields,
            }
        )

    return make


@pytest.fixture
def fill(owner, key):
    def make(order, **fields):
        return orders.fulfil(order=order, filled_by=owner, key=key(), **fields)

    return make


def reserved(product) -> int:
    return sum(row.reserved for row in Balance.objects.filter(item=product.item, is_physical=True))


def notes(order) -> list[str]:
    return [event.note for event in order.events.filter(kind="changed")]


# ---------------------------------------------------------------- pieces


@pytest.mark.parametrize(("pieces", "cents"), [(30, 19_500), (10, 6_500), (24, 15_600)])
def test_reservations_follow_the_pieces(take, change, jars, shelf, jar_line, pieces, cents):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24), charge("freight", 1, "8"))
    line = order.lines.get(kind="packed")

    change(order, OrderLineChange(line.pk, quantity=pieces), note="ring first")

    line.refresh_from_db()
    assert (line.quantity, line.amount_cents, reserved(jars)) == (pieces, cents, pieces)


def test_what_changed_is_told_in_plain_words(take, change, jars, shelf, jar_line, owner):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()

    change(
        order,
        OrderLineChange(line.pk, 30, Decimal("6.20"), price_reason="promised at the fair"),
        customer_reference="PO 4711",
    )

    assert notes(order) == [
        "Their PO number: – → PO 4711",
        "One pound: 24 pieces → 30 pieces",
        "One pound: price $6.50 → $6.20 (promised at the fair)",
    ]
    line.refresh_from_db()
    assert (line.price_reason, line.amount_cents) == ("promised at the fair", 18_600)


def test_the_youngest_lot_is_released_first(take, change, jars, shelf, jar_line):
    old = builders.packed_lot(jars, shelf, 20, best_by=builders.today() + timedelta(days=300))
    young = builders.packed_lot(jars, shelf, 20, best_by=builders.today() + timedelta(days=600))
    order = take(jar_line(30))

    change(order, OrderLineChange(order.lines.get().pk, quantity=22))

    held = {row.lot: row.quantity for row in Reservation.objects.all()}
    assert held == {old: 20, young: 2}


def test_more_than_is_free_is_refused_and_nothing_changes(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 30)
    order = take(jar_line(24))
    line = order.lines.get()

    with pytest.raises(NotEnoughStock) as refused:
        change(order, OrderLineChange(line.pk, quantity=31))

    assert refused.value.parameter == "changes.0.quantity"
    line.refresh_from_db()
    assert (line.quantity, reserved(jars), notes(order)) == (24, 24, [])


def test_a_line_is_taken_off_and_another_added(take, change, jars, shelf, jar_line):
    other = builders.product("Two pound", "2")
    builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(other, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()

    change(order, OrderLineChange(line.pk, quantity=0), lines=[jar_line(12, "11", other)])

    assert [(row.product, row.quantity) for row in order.lines.all()] == [(other, 12)]
    assert (reserved(jars), reserved(other)) == (0, 12)
    assert notes(order) == [
        "One pound: 24 pieces taken off",
        "Added: Two pound, 12 pieces at $11.00",
    ]


def test_the_last_line_is_not_taken_off(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))

    with pytest.raises(BadValue) as refused:
        change(order, OrderLineChange(order.lines.get().pk, quantity=0))

    assert str(refused.value) == (
        f"Nothing would be left on order {order.number}. Cancel the order instead."
    )
    assert reserved(jars) == 24


# ---------------------------------------------------------------- handed over in part


def test_a_line_goes_down_to_what_is_handed_over_and_not_below(
    take, change, fill, jars, shelf, jar_line
):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()
    fill(order, quantities={line.pk: 10})

    with pytest.raises(BadValue) as refused:
        change(order, OrderLineChange(line.pk, quantity=9))
    change(order, OrderLineChange(line.pk, quantity=10))

    assert str(refused.value) == (
        "10 pieces of One pound are handed over already. Enter that much or more, or credit what "
        "comes back."
    )
    order.refresh_from_db()
    line.refresh_from_db()
    assert (order.status, line.amount_cents, reserved(jars)) == ("filled", 6_500, 0)


@pytest.mark.parametrize(("pieces", "price"), [(1, "0.3345"), (3, "0.3345"), (7, "0.2475")])
def test_what_was_handed_over_keeps_its_cents(
    take, change, fill, jars, shelf, jar_line, pieces, price
):
    # Parts of a cent: ten at 0.3345 are 335 cents, and one of those is 34 where it would be 33.
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(10, price))
    line = order.lines.get()
    handed_over = fill(order, quantities={line.pk: pieces}).lines.get().amount_cents

    change(order, OrderLineChange(line.pk, quantity=pieces))

    line.refresh_from_db()
    assert line.amount_cents == handed_over


def test_another_price_of_the_rest_makes_it_a_line_of_its_own(
    take, change, fill, jars, shelf, jar_line
):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24, discount_cents=240))
    line = order.lines.get()
    fill(order, quantities={line.pk: 10})

    change(order, OrderLineChange(line.pk, unit_price=Decimal("6"), price_reason="late"))

    # 24 at $6.50 less $2.40 are $153.60; ten of them went at $64.00, $1.00 of the discount.
    old, new = order.lines.order_by("pk")
    assert (old.quantity, old.discount_cents, old.amount_cents) == (10, 100, 6_400)
    assert (new.quantity, new.unit_price, new.discount_cents, new.amount_cents) == (
        14,
        Decimal("6"),
        140,
        8_260,
    )
    assert new.price_reason == "late"
    assert reserved(jars) == 14
    fill(order)
    order.refresh_from_db()
    assert order.status == Order.Status.FILLED


def test_the_price_of_what_is_handed_over_stays(take, change, fill, jars, shelf, jar_line):
    other = builders.product("Two pound", "2")
    builders.packed_lot(other, shelf, 48)
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24), jar_line(2, "11", other))
    line = order.lines.get(product=jars)
    fill(order, quantities={line.pk: 24})

    with pytest.raises(BadValue) as refused:
        change(order, OrderLineChange(line.pk, unit_price=Decimal("6"), price_reason="late"))

    assert refused.value.parameter == "changes.0.unit_price"
    assert "Credit the difference on the invoice." in str(refused.value)


def test_a_line_whose_goods_came_back_stays_empty_and_is_not_filled_again(
    take, change, fill, jars, shelf, jar_line, owner, key
):
    other = builders.product("Two pound", "2")
    builders.packed_lot(other, shelf, 48)
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24), jar_line(2, "11", other))
    line = order.lines.get(product=jars)
    handed_over = fill(order, quantities={line.pk: 24})
    orders.take_back(fulfilment=handed_over, taken_by=owner, key=key(), reason="wrong door")

    change(order, OrderLineChange(line.pk, quantity=0))

    line.refresh_from_db()
    assert (line.quantity, line.amount_cents, reserved(jars)) == (0, 0, 0)
    fill(order)
    order.refresh_from_db()
    assert (order.status, order.total_cents) == (Order.Status.FILLED, 2_200)


# ---------------------------------------------------------------- what is refused


def test_a_price_needs_its_reason(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))

    with pytest.raises(BadValue) as refused:
        change(order, OrderLineChange(order.lines.get().pk, unit_price=Decimal("6")))

    assert str(refused.value) == "Say why the price of One pound is changed."
    assert refused.value.parameter == "changes.0.price_reason"


def test_an_order_that_somebody_else_changed_is_refused(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()
    seen = state_of(order, order.lines.all())
    change(order, OrderLineChange(line.pk, quantity=20), seen=seen)

    with pytest.raises(NotAllowedNow) as refused:
        change(order, OrderLineChange(line.pk, quantity=30), seen=seen)

    assert str(refused.value) == (
        f"{order.number} was changed while this page was open. Open it again to see what it is "
        "now; nothing of yours was saved."
    )
    assert reserved(jars) == 20


def test_another_total_than_was_shown_is_refused(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))

    with pytest.raises(FiguresChanged) as refused:
        change(
            order, OrderLineChange(order.lines.get().pk, quantity=20), expected_total_cents=13_100
        )

    assert str(refused.value) == (
        "The figures have changed: it comes to $130.00 now, and $131.00 was shown. Look at the "
        "new figures, and try again."
    )
    assert reserved(jars) == 24


def test_taking_an_order_at_another_total_than_was_shown_is_refused(take, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)

    with pytest.raises(FiguresChanged):
        take(jar_line(24), expected_total_cents=15_601)

    assert Order.objects.count() == 0
    assert take(jar_line(24), expected_total_cents=15_600).total_cents == 15_600


def test_an_order_is_changed_once_by_the_same_form(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()
    change(order, OrderLineChange(line.pk, quantity=20), key="once")

    with pytest.raises(AlreadyRecorded):
        change(order, OrderLineChange(line.pk, quantity=30), key="once")

    assert reserved(jars) == 20


def test_what_is_filled_or_cancelled_is_not_changed(
    take, change, fill, jars, shelf, jar_line, owner, key
):
    builders.packed_lot(jars, shelf, 48)
    filled, cancelled = take(jar_line(3)), take(jar_line(3))
    fill(filled)
    orders.cancel(order=cancelled, cancelled_by=owner, key=key(), reason="closed")

    for order, state in ((filled, "filled"), (cancelled, "cancelled")):
        with pytest.raises(NotAllowedNow) as refused:
            change(order, OrderLineChange(order.lines.get().pk, quantity=1))
        assert str(refused.value) == (
            f"{order.number} can't be changed any more. Its state is now “{state}”."
        )


def test_nothing_changed_is_said(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))

    with pytest.raises(BadValue, match=r"Nothing was changed\."):
        change(order, OrderLineChange(order.lines.get().pk, quantity=24), note="")


def test_the_credit_limit_is_asked_when_an_order_grows(take, change, jars, shelf, jar_line, shop):
    builders.packed_lot(jars, shelf, 48)
    shop.credit_limit_cents = 16_000
    shop.save()
    order = take(jar_line(24))
    line = order.lines.get()

    with pytest.raises(OverCreditLimit) as refused:
        change(order, OrderLineChange(line.pk, quantity=25))

    # 25 at $6.50.
    assert "would owe $162.50" in str(refused.value)
    assert reserved(jars) == 24
    change(order, OrderLineChange(line.pk, quantity=25), over_limit=True)
    change(order, OrderLineChange(line.pk, quantity=20))
    assert reserved(jars) == 20


# ---------------------------------------------------------------- details


def test_the_address_and_the_day_are_changed_and_told(take, change, jars, shelf, jar_line, shop):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    barn = addresses.add(customer=shop, name="The barn", city="Elm Hollow", key="barn")
    day = builders.today() + timedelta(days=3)

    change(order, ship_to=barn, wanted_on=day)

    order.refresh_from_db()
    assert (order.deliver_to, order.wanted_on) == (barn, day)
    assert notes(order)[0] == "Delivery address: – → The barn, Elm Hollow"


def test_an_address_of_somebody_else_is_refused(take, change, jars, shelf, jar_line, packer):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))
    theirs = addresses.add(customer=packer, name="Dock 4", city="Elm Hollow", key="dock")

    with pytest.raises(BadValue) as refused:
        change(order, ship_to=theirs)

    assert refused.value.parameter == "ship_to"
    assert take(jar_line(1)).deliver_to == order.customer


# ---------------------------------------------------------------- substitution


def test_other_jars_take_the_place_of_the_rest(take, substitute, fill, jars, shelf, jar_line):
    other = builders.product("Two pound", "2")
    builders.packed_lot(jars, shelf, 48)
    builders.packed_lot(other, shelf, 48)
    order = take(jar_line(24))
    line = order.lines.get()
    fill(order, quantities={line.pk: 10})

    substitute(order, line, product=other, quantity=7, unit_price=Decimal("11"))

    old, new = order.lines.order_by("pk")
    assert (old.quantity, old.amount_cents) == (10, 6_500)
    assert (new.product, new.quantity, new.amount_cents) == (other, 7, 7_700)
    assert new.price_reason == "agreed on the phone"
    assert (reserved(jars), reserved(other)) == (0, 7)
    event = order.events.get(kind=OrderEvent.Kind.SUBSTITUTED)
    assert event.note == (
        "14 pieces of One pound → 7 pieces of Two pound at $11.00 (agreed on the phone)"
    )


def test_another_drum_takes_the_place_of_one(take, substitute, full_drum, drum_line, packer):
    seven, eight = full_drum(7), full_drum(8, 290_000)
    order = take(drum_line(seven), charge("drum_deposit", 1, "40"), customer=packer)

    substitute(order, order.lines.get(drum=seven), drum=eight)

    line = order.lines.get(kind="honey")
    # 290 kg are 639.341 lb; at $2.15 they come to $1,374.58.
    assert (line.drum, line.quantity, line.amount_cents) == (eight, 290_000, 137_458)
    assert Balance.objects.in_vessel(seven).reserved == 0
    assert Balance.objects.in_vessel(eight).reserved == 290_000


def test_what_can_take_a_place_is_named(take, substitute, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    scarce = builders.product("Two pound", "2")
    builders.packed_lot(scarce, shelf, 2)
    order = take(jar_line(24))
    line = order.lines.get()

    with pytest.raises(BadValue) as nothing:
        substitute(order, line)
    with pytest.raises(NotEnoughStock) as too_few:
        substitute(order, line, product=scarce)

    assert (nothing.value.parameter, too_few.value.parameter) == ("product", "quantity")
    assert reserved(jars) == 24


def test_drums_taken_off_take_their_deposit_along(take, change, full_drum, drum_line, packer):
    order = take(
        drum_line(full_drum(7)),
        drum_line(full_drum(8)),
        charge("drum_deposit", 2, "40"),
        customer=packer,
    )
    drum, deposit = order.lines.filter(kind="honey").first(), order.lines.get(kind="drum_deposit")

    with pytest.raises(BadValue) as refused:
        change(order, OrderLineChange(drum.pk, quantity=0))
    change(order, OrderLineChange(drum.pk, quantity=0), OrderLineChange(deposit.pk, quantity=1))

    assert str(refused.value) == (
        "There are fewer drums on it now than drums on deposit or sold: 1 and 2. Change the "
        "number of those too."
    )
    assert Reservation.objects.count() == 1


# ---------------------------------------------------------------- goods that gave way


@pytest.fixture
def count_late(owner, key):
    """Return a maker of counts of yesterday, told after more was reserved."""

    def make(lot, place, counted):
        return stores.count(
            item=lot.product.item,
            lot=lot,
            place=place,
            counted=counted,
            reason="Counted",
            counted_on=builders.today() - timedelta(days=1),
            recorded_by=owner,
            key=key(),
        )

    return make


def test_goods_that_are_gone_are_reserved_again_when_there_are_some(
    take, jars, shelf, jar_line, count_late, owner, key
):
    lot = builders.packed_lot(jars, shelf, 24)
    order = take(jar_line(24))
    count_late(lot, shelf, 20)
    line = order.lines.get()
    assert (line.gave_way, reserved(jars)) == (4, 20)
    with pytest.raises(NotEnoughStock):
        changes.reserve_missing(order=order, reserved_by=owner, key=key())
    builders.packed_lot(jars, shelf, 10)

    changes.reserve_missing(order=order, reserved_by=owner, key=key())

    line.refresh_from_db()
    assert (line.gave_way, reserved(jars)) == (0, 24)
    assert notes(order) == ["Reserved: 4 pieces of One pound in place of what was gone"]


def test_what_is_gone_goes_first_when_a_line_shrinks(
    take, change, jars, shelf, jar_line, count_late
):
    lot = builders.packed_lot(jars, shelf, 24)
    order = take(jar_line(24))
    count_late(lot, shelf, 20)
    line = order.lines.get()

    change(order, OrderLineChange(line.pk, quantity=18))

    line.refresh_from_db()
    assert (line.gave_way, reserved(jars)) == (0, 18)


# ---------------------------------------------------------------- quotes


def test_a_quote_is_changed_without_reserving(quote, change, full_drum, drum_line):
    seven, eight = full_drum(7), full_drum(8)
    order = quote(drum_line(seven))
    day = builders.today() + timedelta(days=30)

    change(order, lines=[drum_line(eight)], valid_until=day)

    order.refresh_from_db()
    assert (order.status, order.valid_until, order.lines.count()) == ("quoted", day, 2)
    assert Reservation.objects.count() == 0


def test_the_same_drum_is_not_added_twice(quote, change, full_drum, drum_line):
    seven = full_drum(7)
    order = quote(drum_line(seven))

    with pytest.raises(BadValue) as refused:
        change(order, lines=[drum_line(seven)])

    assert refused.value.parameter == "lines.0.drum"


def test_an_expired_quote_is_quoted_again_not_changed(quote, change, full_drum, drum_line):
    order = quote(drum_line(full_drum(7)), valid_until=builders.today())
    Order.objects.update(valid_until=builders.today() - timedelta(days=1))

    with pytest.raises(QuoteExpired):
        change(order, note="wait")


def test_several_things_wrong_are_all_named(take, change, jars, shelf, jar_line):
    builders.packed_lot(jars, shelf, 48)
    order = take(jar_line(24))

    with pytest.raises(SeveralProblems) as refused:
        change(
            order,
            OrderLineChange(order.lines.get().pk, -1, Decimal("-1"), -1, "typed"),
            OrderLineChange(999_999, 1),
            lines=[LineWanted(OrderLine.Kind.PACKED, 1, Decimal(1))],
        )

    assert [problem.parameter for problem in refused.value.problems] == [
        "changes.0.quantity",
        "changes.0.unit_price",
        "changes.0.discount_cents",
        "changes.1.line",
        "lines.0.product",
    ]


def test_a_quote_takes_the_weight_of_now_when_its_drum_was_weighed_again(
    quote, full_drum, drum_line, owner, key
):
    seven = full_drum(7)
    order = quote(drum_line(seven))
    drums.weigh_again(drum=seven, gross_grams=18_000 + 296_000, recorded_by=owner, key=key())

    # Who was shown the quote's own total is told of the new one first.
    with pytest.raises(FiguresChanged):
        quotes.accept(order=order, accepted_by=owner, key=key())
    quotes.accept(order=order, accepted_by=owner, key=key(), expected_total_cents=140_302)

    line = order.lines.get()
    assert (line.quantity, line.ordered, line.unit_price) == (296_000, 295_000, Decimal("2.15"))
    assert Balance.objects.in_vessel(seven).reserved == 296_000


def test_the_credit_limit_is_asked_with_the_weight_of_now(
    quote, full_drum, drum_line, owner, key, packer
):
    seven = full_drum(7)
    order = quote(drum_line(seven))
    # The quote is $1,398.28, and the drum comes to $1,403.02 now.
    packer.credit_limit_cents = 140_000
    packer.save()
    drums.weigh_again(drum=seven, gross_grams=18_000 + 296_000, recorded_by=owner, key=key())

    with pytest.raises(OverCreditLimit, match=r"would owe \$1,403\.02"):
        quotes.accept(order=order, accepted_by=owner, key=key(), expected_total_cents=140_302)


def test_jars_are_quoted_before_they_are_there(quote, jar_line, jars, shelf, shop, owner, key):
    order = quote(jar_line(24), customer=shop, channel="shop", customer_reference="PO 9")
    with pytest.raises(NotEnoughStock):
        quotes.accept(order=order, accepted_by=owner, key=key())
    builders.packed_lot(jars, shelf, 48)

    quotes.accept(order=order, accepted_by=owner, key=key())

    order.refresh_from_db()
    assert (order.status, order.customer_reference, reserved(jars)) == ("open", "PO 9", 24)


def test_a_newer_quote_takes_the_place_of_the_old_one(quote, full_drum, drum_line, owner, key):
    seven = full_drum(7)
    old = quote(drum_line(seven))

    new = quote(drum_line(seven, "2.30"), supersedes=old)

    old.refresh_from_db()
    assert (old.status, old.superseded_by) == (Order.Status.SUPERSEDED, new)
    assert old.events.get().note == new.number
    with pytest.raises(NotAllowedNow) as refused:
        quotes.accept(order=old, accepted_by=owner, key=key())
    with pytest.raises(NotAllowedNow):
        quote(drum_line(seven, "2.40"), supersedes=old)
    assert "replaced by a newer quote" in str(refused.value)


@pytest.mark.parametrize(("act", "by"), [("decline", "declined_by"), ("withdraw", "withdrawn_by")])
def test_a_quote_ends_with_a_reason(quote, full_drum, drum_line, owner, key, act, by):
    order = quote(drum_line(full_drum(7)))
    end = getattr(quotes, act)
    with pytest.raises(BadValue) as refused:
        end(order=order, key=key(), reason=" ", **{by: owner})
    assert refused.value.parameter == "reason"

    end(order=order, key=key(), reason="too dark", **{by: owner})

    order.refresh_from_db()
    event = order.events.get()
    assert (order.status, event.kind, event.note) == (event.kind, by.split("_")[0], "too dark")
    with pytest.raises(NotAllowedNow):
        end(order=order, key=key(), reason="again", **{by: owner})


def test_a_quote_has_expired_without_anybody_doing_a_thing(quote, full_drum, drum_line):
    today = builders.today()
    order = quote(drum_line(full_drum(7)), valid_until=today)

    states = [order.state_on(today + timedelta(days=days)) for days in (0, 1)]

    assert states == [Order.Status.QUOTED, Order.Status.EXPIRED]
    order.refresh_from_db()
    assert order.status == Order.Status.QUOTED

"""Jars on a shop's shelf: ours until the shop reports them sold."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.billing.models import ConsignmentReport
from apiary_sales.billing.queries import books as money_books
from apiary_sales.billing.services import consignment_reports, credit_notes
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import books, recall, stock
from apiary_sales.orders.queries import consignments as found
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import consignments, orders
from apiary_sales.orders.trade_models import ConsignmentDelivery
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Place
from inventory.stock.queries import books as stock_books
from inventory.stock.services import count_sheets, stores
from inventory.stock.services.count_sheets import CountedThing
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []
    assert list(money_books.faults()) == []


@pytest.fixture
def there(shop, key):
    """The shelf of the shop."""
    return consignments.set_up(customer=shop, name="Shelf at the grocery", key=key())


@pytest.fixture
def lot(jars, shelf):
    return builders.packed_lot(jars, shelf, 24, code="A1", cost_cents=4_800)


@pytest.fixture
def bring(there, jars, owner, key):
    def make(pieces, product=None, **fields):
        return consignments.deliver_now(
            **{
                "shelf": there,
                "lines": [PiecesWanted(product or jars, pieces)],
                "delivered_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


@pytest.fixture
def report(there, jars, owner, key):
    """Return a writer of reports of this month's pounds."""

    def make(pieces, **fields):
        today = timezone.localdate()
        return consignment_reports.enter(
            **{
                "shelf": there,
                "lines": [PiecesWanted(jars, pieces)],
                "sold_from": today - timedelta(days=6),
                "sold_until": today,
                "entered_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


def pieces_at(place, jars):
    balance = Balance.objects.filter(item=jars.item, place=place).first()
    return balance.quantity if balance else 0


def test_a_shelf_is_a_place_of_ours_named_for_the_shop(shop, key):
    made = consignments.set_up(customer=shop, key=key())
    second = consignments.set_up(customer=shop, key=key())

    assert (made.place.name, made.place.kind) == ("Corner Grocery", Place.Kind.CONSIGNMENT)
    assert (made.place.code, second.place.code) == ("corner-grocery", "corner-grocery-2")
    assert made.place.is_physical


def test_jars_that_are_brought_to_a_shop_are_carried_and_not_sold(lot, bring, there, shelf, jars):
    delivery = bring(10)

    assert delivery.status == ConsignmentDelivery.Status.DELIVERED
    assert (pieces_at(shelf, jars), pieces_at(there.place, jars)) == (14, 10)
    assert not Order.objects.exists()


def test_more_than_is_free_is_not_brought_and_nothing_changes(lot, bring, shelf, jars):
    with pytest.raises(NotEnoughStock) as refused:
        bring(25)

    assert refused.value.problems[0].parameter == "lines.0.pieces"
    assert pieces_at(shelf, jars) == 24
    assert not ConsignmentDelivery.objects.exists()


def test_the_same_delivery_sent_twice_is_carried_once(lot, bring, there, jars):
    bring(10, key="twice")
    with pytest.raises(AlreadyRecorded):
        bring(10, key="twice")

    assert pieces_at(there.place, jars) == 10


def test_a_planned_delivery_moves_nothing_until_it_is_carried(lot, there, jars, owner, key):
    delivery = consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 6)], created_by=owner, key=key()
    )
    assert pieces_at(there.place, jars) == 0

    consignments.deliver(delivery=delivery, delivered_by=owner, key=key())

    assert pieces_at(there.place, jars) == 6
    with pytest.raises(NotAllowedNow, match="already delivered"):
        consignments.deliver(delivery=delivery, delivered_by=owner, key=key())
    with pytest.raises(NotAllowedNow, match="already delivered"):
        consignments.cancel(delivery=delivery)


def test_a_cancelled_delivery_is_not_carried(lot, there, jars, owner, key):
    delivery = consignments.plan(
        shelf=there, lines=[PiecesWanted(jars, 6)], created_by=owner, key=key()
    )
    consignments.cancel(delivery=delivery)

    with pytest.raises(NotAllowedNow, match="already cancelled"):
        consignments.deliver(delivery=delivery, delivered_by=owner, key=key())


def test_orders_and_the_stand_do_not_take_what_is_at_the_shop(
    lot, bring, there, shop, jar_line, stand, owner, key
):
    bring(20)

    with pytest.raises(NotEnoughStock) as refused:
        orders.take(customer=shop, channel="shop", lines=[jar_line(5)], created_by=owner, key=key())
    assert "Free: 4 pieces." in str(refused.value)
    with pytest.raises(BadValue, match="is not a shelf, stand or van"):
        orders.sell_now(
            customer=None, lines=[jar_line(1)], place=there.place, created_by=owner, key=key()
        )


def test_what_is_at_the_shop_is_in_stock_at_its_cost_but_not_free(lot, bring, jars):
    bring(10)

    row = stock.of(jars).stock

    assert (row.on_hand, row.free, row.on_consignment) == (24, 14, 10)
    assert row.value_cents == 4_800


def test_the_list_says_what_is_where_since_when(lot, bring, there, jars, key, owner):
    today = timezone.localdate()
    bring(4, delivered_on=today - timedelta(days=20))
    bring(6, delivered_on=today - timedelta(days=3))

    [held] = found.contents(found.shelves())
    assert [(row.lot.code, row.pieces, row.since) for row in held.rows] == [
        ("A1", 10, today - timedelta(days=20))
    ]

    # The oldest are sold first: of the first four none is left.
    stores.transfer(
        item=jars.item,
        lot=lot,
        source=there.place,
        target=Place.objects.get(code="shelf"),
        pieces=4,
        recorded_by=owner,
        key=key(),
    )
    [held] = found.contents(found.shelves())
    assert [(row.pieces, row.since) for row in held.rows] == [(6, today - timedelta(days=3))]
    assert held.value_cents == 1_200


def test_a_report_sells_and_invoices_at_the_agreed_price(lot, bring, report, there, jars):
    bring(10)
    consignments.agree_price(
        shelf=there, product=jars, unit_price=Decimal("5.25"), valid_from=date(2026, 1, 1)
    )

    made = report(4, reference="June")

    assert made.invoice.net_cents == 2_100
    assert made.invoice.order.customer == there.customer
    assert made.invoice.order.channel == Order.Channel.CONSIGNMENT
    assert made.invoice.order.status == Order.Status.FILLED
    assert made.invoice.order.customer_reference == "June"
    assert pieces_at(there.place, jars) == 6


def test_the_price_of_the_last_day_of_the_report_counts(lot, bring, report, there, jars):
    today = timezone.localdate()
    bring(10, delivered_on=today - timedelta(days=9))
    for price, day in (("5.00", today - timedelta(days=90)), ("6.00", today)):
        consignments.agree_price(
            shelf=there, product=jars, unit_price=Decimal(price), valid_from=day
        )

    before = report(2, sold_from=today - timedelta(days=8), sold_until=today - timedelta(days=1))
    after = report(2, sold_from=today)

    assert (before.invoice.net_cents, after.invoice.net_cents) == (1_000, 1_200)
    assert before.fulfilment.filled_on == today - timedelta(days=1)


def test_a_report_without_an_agreed_price_names_the_product(lot, bring, report):
    bring(10)

    with pytest.raises(BadValue, match="No price of One pound was agreed") as refused:
        report(4)

    assert refused.value.problems[0].parameter == "lines.0.product"


def test_a_report_of_more_than_is_there_changes_nothing(lot, bring, report, there, jars):
    bring(3)
    consignments.agree_price(shelf=there, product=jars, unit_price=Decimal("5.25"))

    with pytest.raises(NotEnoughStock, match="the shop reports 4 sold, and the books have 3"):
        report(4)

    assert pieces_at(there.place, jars) == 3
    assert not Order.objects.exists()
    assert not ConsignmentReport.objects.exists()


def test_days_are_reported_once(lot, bring, report, there, jars):
    bring(10)
    consignments.agree_price(shelf=there, product=jars, unit_price=Decimal("5.25"))
    report(2)

    with pytest.raises(BadValue, match="The last report of this shelf ends on") as refused:
        report(2)

    assert refused.value.problems[0].parameter == "sold_from"


def test_jars_on_hold_that_the_shop_sold_are_sold_all_the_same(
    lot, bring, report, there, jars, owner, key
):
    bring(10)
    consignments.agree_price(
        shelf=there, product=jars, unit_price=Decimal("5.25"), valid_from=date(2026, 1, 1)
    )
    lot.is_on_hold = True
    lot.hold_reason = "Loose lids"
    lot.save()

    assert report(4).invoice.net_cents == 2_100


def test_a_credited_report_brings_the_jars_back_to_the_shelf_and_may_be_entered_again(
    lot, bring, report, there, jars, owner, key
):
    bring(10)
    consignments.agree_price(
        shelf=there, product=jars, unit_price=Decimal("5.25"), valid_from=date(2026, 1, 1)
    )
    wrong = report(4)

    credit_notes.credit(
        invoice=wrong.invoice,
        goods_back=[GoodsBack(goods, 4, there.place) for goods in wrong.fulfilment.lines.all()],
        issued_by=owner,
        key=key(),
        reason="Three, not four",
    )

    assert pieces_at(there.place, jars) == 10
    assert not Order.objects.filter(status__in=Order.OPEN_STATUSES).exists()
    assert report(3).invoice.net_cents == 1_575


def test_jars_come_back_from_the_shop_to_a_store(lot, bring, there, shelf, jars, owner, key):
    bring(10)

    consignments.bring_back(
        shelf=there, lots=[(lot, 7)], target=shelf, recorded_by=owner, key=key()
    )

    assert (pieces_at(shelf, jars), pieces_at(there.place, jars)) == (21, 3)


@pytest.mark.parametrize(
    ("pieces", "said"),
    [(1, "1 piece is on the shelf by the books."), (3, "3 pieces are on the shelf by the books.")],
)
def test_no_more_comes_back_than_is_there(pieces, said, lot, bring, there, shelf, owner, key):
    bring(pieces)

    with pytest.raises(NotEnoughStock) as refused:
        consignments.bring_back(
            shelf=there, lots=[(lot, 4)], target=shelf, recorded_by=owner, key=key()
        )

    assert refused.value.problems[0].parameter == "lots.0.pieces"
    assert str(refused.value) == f"Lot {lot.code}: {said}"


def test_a_shelf_of_a_shop_is_on_the_count_sheet(lot, bring, there, jars, owner, key):
    bring(10)
    sheet = count_sheets.open_sheet(name="June", is_blind=False, opened_by=owner, key=key())

    count_sheets.enter(
        sheet=sheet,
        place=there.place,
        things=[CountedThing(jars.item, lot, 9)],
        counted_by=owner,
        key=key(),
    )
    count_sheets.close(
        sheet=sheet, closed_by=owner, key=key(), reason="Stock take", uncounted="left"
    )

    assert pieces_at(there.place, jars) == 9


def test_a_recall_names_the_shop_that_has_jars_of_ours(lot, bring, there, shop):
    shop.phone = "555-0100"
    shop.save()
    bring(10)

    places = recall.answer([lot.pk]).places

    assert [(row.place, row.holder, row.phone, row.quantity) for row in places] == [
        ("Shelf at the grocery", "Corner Grocery", "555-0100", 10),
        ("Shelf", "", "", 14),
    ]


def test_each_product_is_on_a_delivery_once_with_a_piece_or_more(lot, there, owner, key):
    problems = []
    other = builders.product("Two pound", code="2lb")
    try:
        consignments.plan(
            shelf=there,
            lines=[PiecesWanted(other, 0), PiecesWanted(other, 1)],
            created_by=owner,
            key=key(),
        )
    except SeveralProblems as error:
        problems = [problem.parameter for problem in error.problems]

    assert problems == ["lines.0.pieces", "lines.1.product"]

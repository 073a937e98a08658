"""Bills of suppliers: entered, matched with deliveries, paid, undone; and the book beside them."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db.models import QuerySet
from django.utils import timezone

from apiary_sales.billing.models import (
    EntryLine,
    SupplierBill,
    SupplierBillLine,
    SupplierPayment,
)
from apiary_sales.billing.queries import bills as queries
from apiary_sales.billing.queries import purchase_books, purchase_orders
from apiary_sales.billing.services import bills
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.pricing.models import SeasonExpense
from inventory.bottling.models import ReceiptCorrection
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    HouseError,
    SeveralProblems,
)
from inventory.shared.models import BooksLock
from inventory.stock.models import Place, Supplier
from tests import builders
from tests.billing.buying_room import TODAY, Room, book_faults, lines_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def room(db):
    return Room()


def parameters(refused):
    return [problem.parameter for problem in refused.value.problems]


def owed(room):
    return -sum(
        EntryLine.objects.filter(account="payable", supplier=room.supplier).values_list(
            "amount_cents", flat=True
        )
    )


def test_a_bill_is_owed_until_its_terms_are_over(room):
    room.supplier.terms_days = 14
    room.supplier.save()

    bill = room.bill(tax_cents=600)

    assert (bill.due_on, bill.total_cents, bill.open_cents) == (
        TODAY + timedelta(days=14),
        10_600,
        10_600,
    )
    assert lines_of(bill.entry) == [
        ("expenses", "supplies", 10_000),
        ("payable", "", -10_600),
        ("purchase_tax", "", 600),
    ]
    assert book_faults() == []


def test_a_bill_clears_what_a_delivery_cost(room):
    delivery = room.delivery()

    bill = room.bill(LineBilled(42_000, delivery), LineBilled(1_500, category="freight"))

    assert lines_of(bill.entry) == [
        ("expenses", "freight", 1_500),
        ("not_billed", "", 42_000),
        ("payable", "", -43_500),
    ]
    assert bill.lines.first().description == "One-pound jar, 1,000 pieces"
    assert purchase_orders.to_bill(room.supplier, since=TODAY) == []
    assert book_faults() == []


@pytest.mark.parametrize(("billed", "difference"), [(44_000, 2_000), (40_000, -2_000)])
def test_a_price_that_differs_is_an_expense_of_its_own(room, billed, difference):
    delivery = room.delivery()

    bill = room.bill(LineBilled(billed, delivery))

    assert lines_of(bill.entry) == [
        ("expenses", "price_difference", difference),
        ("not_billed", "", 42_000),
        ("payable", "", -billed),
    ]
    delivery.refresh_from_db()
    assert delivery.cost_cents == 42_000
    assert book_faults() == []


def test_a_price_that_differs_can_be_taken_over_into_the_cost(room):
    delivery = room.delivery()

    bill = room.bill(LineBilled(44_000, delivery, takes_over_cost=True))

    delivery.refresh_from_db()
    assert delivery.cost_cents == 44_000
    assert ReceiptCorrection.objects.get().after == {"cost_cents": 44_000}
    assert lines_of(bill.entry) == [("not_billed", "", 44_000), ("payable", "", -44_000)]
    assert book_faults() == []


def test_goods_and_honey_are_billed_too_and_an_unknown_cost_is_what_the_bill_says(room):
    from apiary_sales.billing.services.purchase_orders import LineOrdered

    line = room.order(LineOrdered(room.candle, 24, Decimal("2.00"))).lines.get()
    candles = room.receive(line, 24).goods_receipt
    lot = builders.bought_lot(
        builders.place("tote", Place.Kind.TOTE), 90_000, supplier="Meadow Glass"
    )
    assert lot.cost_cents is None

    room.bill(LineBilled(5_000, candles, takes_over_cost=True), LineBilled(31_000, lot))

    candles.lot.refresh_from_db()
    lot.refresh_from_db()
    assert (candles.lot.cost_cents, lot.cost_cents) == (5_000, 31_000)
    assert book_faults() == []


def test_a_delivery_is_on_one_bill_at_a_time(room):
    delivery = room.delivery()
    bill = room.bill(LineBilled(42_000, delivery))

    with pytest.raises(BadValue, match="is on bill M-1 already"):
        room.bill(LineBilled(42_000, delivery), number="M-2")
    bills.undo(bill=bill, undone_by=room.person, key="u", reason="Wrong amount")

    assert [row.delivery for row in purchase_orders.to_bill(room.supplier, since=TODAY)] == [
        delivery
    ]
    assert room.bill(LineBilled(42_000, delivery)).number == "M-1"
    assert book_faults() == []


def test_a_bill_is_refused_where_it_cannot_be(room):
    elsewhere = builders.supplier("Hill Lids", Supplier.Kind.PARTS)
    delivery = room.delivery()
    room.bill(number="M-1")

    with pytest.raises(SeveralProblems) as refused:
        room.bill(LineBilled(0, category="nonsense"), number="m-1", due_on=date(2026, 9, 1))
    assert set(parameters(refused)) == {
        "number",
        "due_on",
        "lines.0.amount_cents",
        "lines.0.category",
        "lines",
    }
    with pytest.raises(BadValue, match="came from another supplier"):
        room.bill(LineBilled(1, delivery), supplier=elsewhere)
    with pytest.raises(BadValue, match="twice"):
        room.bill(LineBilled(1, delivery), LineBilled(1, delivery), number="M-2")
    with pytest.raises(BadValue, match=r"come to \$100\.00, and the bill says \$99\.00"):
        room.bill(number="M-2", total_cents=9_900)
    with pytest.raises(BadValue, match="future"):
        room.bill(number="M-2", billed_on=TODAY + timedelta(days=1))
    with pytest.raises(BadValue) as refused:
        room.bill(number="M-2", discount_percent=Decimal(2))
    assert parameters(refused) == ["discount_until"]
    assert SupplierBill.objects.count() == 1


def test_a_bill_sent_twice_is_entered_once(room):
    bill = room.bill(key="b")

    with pytest.raises(AlreadyRecorded) as repeat:
        room.bill(key="b")

    assert repeat.value.made == bill
    assert owed(room) == 10_000


def test_a_bill_is_paid_in_parts_and_never_beyond_what_is_open(room):
    bill = room.bill()

    room.pay(bill, 4_000)
    bill.refresh_from_db()
    assert bill.open_cents == 6_000
    with pytest.raises(BadValue, match=r"has \$60\.00 left to pay"):
        room.pay(bill, 6_001)
    room.pay(bill, 6_000, paid_by="cash")

    bill.refresh_from_db()
    assert (bill.open_cents, owed(room)) == (0, 0)
    assert queries.state_of(bill, TODAY)["text"] == "paid"
    assert book_faults() == []


@pytest.mark.parametrize(
    ("paid_by", "account"),
    [
        ("cash", "cash"),
        ("check", "transfer"),
        ("card", "transfer"),
        ("transfer", "transfer"),
        ("owner", "owner"),
    ],
)
def test_money_leaves_the_account_it_is_paid_from(room, paid_by, account):
    payment = room.pay(room.bill(), 10_000, paid_by=paid_by)

    assert lines_of(payment.entry) == sorted([("payable", "", 10_000), (account, "", -10_000)])
    assert book_faults() == []


def test_a_discount_is_taken_until_its_day_and_up_to_what_is_offered(room):
    # 2/10 net 30: two percent of 100.00 until the tenth day.
    until = TODAY + timedelta(days=10)
    bill = room.bill(discount_percent=Decimal(2), discount_until=until)

    assert bills.discount_cents(bill, until) == 200
    assert bills.discount_cents(bill, until + timedelta(days=1)) == 0
    with pytest.raises(BadValue) as refused:
        room.pay(bill, 9_700, discount=300)
    assert parameters(refused) == ["shares.0.discount_cents"]
    payment = room.pay(bill, 9_800, discount=200)

    assert lines_of(payment.entry) == [
        ("discounts", "", -200),
        ("payable", "", 10_000),
        ("transfer", "", -9_800),
    ]
    bill.refresh_from_db()
    assert bill.open_cents == 0
    assert book_faults() == []


def test_a_discount_is_not_taken_twice(room):
    bill = room.bill(discount_percent=Decimal(2), discount_until=TODAY)
    room.pay(bill, 4_000, discount=150)

    assert bills.discount_cents(bill, TODAY) == 50


def test_one_payment_settles_several_bills_of_one_supplier(room):
    first, second = room.bill(number="M-1"), room.bill(number="M-2")
    other = room.bill(number="H-1", supplier=builders.supplier("Hill Lids", "parts"))
    common = {
        "supplier": room.supplier,
        "paid_by": "check",
        "recorded_by": room.person,
        "reference": "1201",
    }

    with pytest.raises(BadValue, match="is not one of Meadow Glass"):
        bills.pay(shares=[BillPaid(first, 1), BillPaid(other, 1)], key="p0", **common)
    with pytest.raises(HouseError, match="Name each bill once") as refused:
        bills.pay(shares=[BillPaid(first, 1), BillPaid(first, 1)], key="p0", **common)
    assert [problem.parameter for problem in refused.value.problems] == ["shares.1.bill"]
    payment = bills.pay(
        shares=[BillPaid(first, 10_000), BillPaid(second, 2_500)], key="p1", **common
    )

    assert payment.amount_cents == 12_500
    assert [bill.open_cents for bill in SupplierBill.objects.order_by("number")] == [
        10_000,
        0,
        7_500,
    ]
    assert book_faults() == []


def test_a_payment_that_was_undone_is_owed_again(room):
    bill = room.bill(discount_percent=Decimal(2), discount_until=TODAY)
    payment = room.pay(bill, 9_800, discount=200)
    with pytest.raises(CannotReverse, match="Undo that payment first"):
        bills.undo(bill=bill, undone_by=room.person, key="u1", reason="Wrong")

    with pytest.raises(BadValue, match="Say what was wrong"):
        bills.undo_payment(payment=payment, undone_by=room.person, key="u2", reason=" ")
    bills.undo_payment(payment=payment, undone_by=room.person, key="u2", reason="Bounced")

    bill.refresh_from_db()
    assert (bill.open_cents, owed(room), bills.discount_cents(bill, TODAY)) == (10_000, 10_000, 200)
    with pytest.raises(AlreadyRecorded):
        bills.undo_payment(payment=payment, undone_by=room.person, key="u2", reason="Bounced")
    with pytest.raises(CannotReverse):
        bills.undo_payment(payment=payment, undone_by=room.person, key="u3", reason="Bounced")
    bills.undo(bill=bill, undone_by=room.person, key="u1", reason="Wrong")
    bill.refresh_from_db()
    assert (bill.open_cents, owed(room), bill.is_undone) == (0, 0, True)
    assert book_faults() == []


def test_a_late_bill_keeps_its_day_and_counts_on_the_first_open_one(room):
    BooksLock.objects.create(
        locked_until=date(2026, 8, 31),
        locked_by=builders.person("owner"),
        locked_at=timezone.now(),
        idempotency_key="lock",
    )

    entry = room.bill(billed_on=date(2026, 8, 20)).entry

    assert (entry.happened_on, entry.entered_on) == (date(2026, 8, 20), date(2026, 9, 1))


def test_a_line_of_a_bill_can_be_part_of_a_seasons_cost(room):
    bill = room.bill(LineBilled(80_000, category="feed", season=2026))

    expense = SeasonExpense.objects.get()
    assert (expense.season, expense.category, expense.amount_cents, expense.note) == (
        2026,
        "feed",
        80_000,
        "Meadow Glass, M-1",
    )
    with pytest.raises(BadValue, match="no part of the cost") as refused:
        room.bill(LineBilled(1, category="rent", season=2026), number="M-2")
    assert parameters(refused) == ["lines.0.season"]
    bills.undo(bill=bill, undone_by=room.person, key="u", reason="Wrong")
    assert not SeasonExpense.objects.exists()


def test_lists_and_balances_come_to_what_the_bills_say(room):
    late = room.bill(number="M-1", billed_on=TODAY - timedelta(days=40))
    room.bill(number="M-2", due_on=TODAY + timedelta(days=5))
    undone = room.bill(number="M-3")
    bills.undo(bill=undone, undone_by=room.person, key="u", reason="Not ours")
    room.pay(late, 2_500)
    room.delivery(400)

    def numbers(state):
        return [bill.number for bill in queries.bills(on=TODAY, state=state)]

    assert numbers("open") == ["M-1", "M-2"]
    assert numbers("overdue") == ["M-1"]
    assert numbers("soon") == ["M-1", "M-2"]
    assert numbers("paid") == []
    assert numbers("undone") == ["M-3"]
    assert queries.totals(queries.bills(on=TODAY)) == queries.Totals(20_000, 17_500)
    found = queries.balances(TODAY)
    [row] = found.rows
    assert (row.open_cents, row.overdue_cents, row.bills, row.not_billed_cents, row.paid_on) == (
        17_500,
        7_500,
        2,
        16_800,
        TODAY,
    )
    assert [cells[1] for cells in queries.balance_rows(found)][1:] == [Decimal("175.00")]


@pytest.mark.parametrize(
    ("model", "change", "says"),
    [
        (SupplierBill, {"open_cents": 9_000}, "has 6000 cents to pay, and says 9000"),
        (SupplierBill, {"total_cents": 12_000}, "is entered at 10000"),
        (SupplierPayment, {"amount_cents": 3_999}, "is entered at 4000"),
        (SupplierBillLine, {"amount_cents": 9_999}, "its lines 9999"),
        (EntryLine, {"supplier": None}, "is owed"),
    ],
)
@pytest.mark.usefixtures("without_triggers")
def test_a_figure_that_was_changed_behind_the_book_is_found(room, model, change, says):
    room.pay(room.bill(), 4_000)
    assert book_faults() == []

    # Past the model, which would refuse it.
    QuerySet(model).update(**change)

    assert any(says in fault for fault in purchase_books.faults())

"""Money by month: to the cent what the books of money have, and what comes, with its day."""

import csv
import re
from collections import defaultdict
from datetime import date, datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apiary_sales.billing.models import EntryLine, Expense, MoneyMove, Payment, SupplierPayment
from apiary_sales.billing.services import (
    account_months,
    bounced_checks,
    cash_counts,
    deposit_slips,
    expenses,
    invoices,
    money_moves,
    opening,
    payments,
    stand,
)
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import orders, standing_orders
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.reports.frames import cash, to_come
from apiary_sales.reports.frames.cash import CashFilters
from apiary_sales.reports.frames.to_come import ComingFilters
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders
from tests.billing.buying_room import Room
from tests.reports import conftest as made

pytestmark = pytest.mark.django_db
KEPT = ("cash", "check", "card", "transfer")


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


def by(**more):
    return {"key": builders.new_key(), **more}


def received(customer, cents, on, method="check", **more):
    return payments.receive(
        customer=customer,
        amount_cents=cents,
        method=method,
        received_on=on,
        received_by=builders.person(),
        **by(**more),
    )


def moved(source, target, cents, on, **more):
    return money_moves.move(
        from_account=source,
        to_account=target,
        cents=cents,
        moved_on=on,
        moved_by=builders.person(),
        **by(**more),
    )


@pytest.fixture
def year(db):
    """A year of the books that began on October 14, 2025; see the test for each figure."""
    room, owner = Room(), builders.person()
    shop, packer = builders.customer("Corner Grocery"), builders.customer("Prairie Packers")
    place = builders.place("stand", Place.Kind.STAND, name="Stand")
    pounds = builders.product("Pound jar", "1", code="one-pound")
    builders.packed_lot(pounds, place, 10, code="P25-001")
    House.objects.update(tips_are_for_people=True)
    opening.amount(
        account="transfer",
        amount_cents=100_000,
        begins_on=date(2025, 10, 14),
        recorded_by=owner,
        **by(),
    )
    received(shop, 20_000, date(2025, 11, 25))
    room.spend(5_000, paid_by="transfer", spent_on=date(2025, 11, 26))
    bad = received(shop, 10_000, date(2026, 10, 5), reference="881")
    deposit_slips.deposit(
        checks=[bad],
        cash_cents=0,
        deposited_by=owner,
        deposited_on=date(2026, 10, 6),
        **by(),
    )
    bounced_checks.record(
        payment=bad,
        bounced_on=date(2026, 11, 3),
        bank_fee_cents=1_200,
        recorded_by=owner,
        **by(),
    )
    received(packer, 30_000, date(2026, 11, 5), "cash")
    payments.pay_back(
        customer=packer,
        amount_cents=4_000,
        method="cash",
        paid_by=owner,
        paid_on=date(2026, 11, 6),
        **by(),
    )
    moved("cash", "transfer", 10_000, date(2026, 11, 7))
    room.spend(2_500, spent_on=date(2026, 11, 8))
    room.spend(3_000, paid_by="owner", spent_on=date(2026, 11, 8))
    mistaken = room.spend(900, spent_on=date(2026, 11, 8))
    expenses.undo(expense=mistaken, undone_by=owner, reason="Entered twice", **by())
    bill = room.bill(billed_on=date(2026, 11, 1), due_on=date(2026, 12, 10))
    room.pay(bill, 4_000, paid_on=date(2026, 11, 9))
    moved("owner", "transfer", 50_000, date(2026, 11, 10))
    stand.sell(
        lines=[made.jars(pounds, 1, "8.00")],
        place=place,
        payments=[PaymentMade("cash", tendered_cents=1_000)],
        on_top_cents=200,
        sold_at=datetime(2026, 11, 12, 10, tzinfo=ZoneInfo("America/Chicago")),
        sold_by=owner,
        **by(),
    )
    moved("cash", "tips", 150, date(2026, 11, 13))
    moved("transfer", "sales_tax", 700, date(2026, 11, 14))
    there = cash_counts.expected_on(date(2026, 11, 19))
    cash_counts.count(
        counted_cents=there - 100,
        counted_on=date(2026, 11, 19),
        counted_by=owner,
        note="A dollar short",
        **by(),
    )


def frame_rows(frame):
    return {row["month"]: row for row in frame.to_dict("records")}


def test_a_month_is_what_was_received_and_paid_and_neither_is_moved_money(year):
    """Worked by hand. Received in November 2026: 300.00 of the packer and 8.00 at the stand, less
    100.00 that bounced and 40.00 given back. Paid out: an expense of 25.00, 40.00 of a bill, tax of
    7.00, and 12.00 that the bank took. Beside it a tip of 2.00, of which 1.50 was handed over,
    500.00 of the owner, and 1.00 that was missing.
    """
    rows = frame_rows(cash.by_month(CashFilters()))

    assert list(rows)[:3] == ["2025-10", "2025-11", "2025-12"]
    assert len(rows) == 14  # no month is left out
    november = rows["2026-11"]
    assert (november["given_cents"], november["given_back_cents"]) == (30_800, -14_000)
    assert november["received_cents"] == 16_800
    assert [november[f"{part}_cents"] for part in ("spent", "bills_paid", "tax_paid")] == [
        2_500,
        4_000,
        700,
    ]
    assert (november["paid_otherwise_cents"], november["paid_cents"]) == (1_200, 8_400)
    assert [november[f"{part}_cents"] for part in ("tips", "owner", "over")] == [50, 50_000, -100]
    assert november["by_owner_cents"] == 3_000
    # 1,000.00 + 200.00 − 50.00 + 100.00, and then 168.00 − 84.00 + 499.50.
    assert (rows["2026-10"]["there_cents"], november["there_cents"]) == (125_000, 183_350)


def test_money_that_was_not_given_back_after_all_is_not_received_from_customers(db):
    """200.00 came in; 50.00 was given back, by mistake."""
    shop = builders.customer("Corner Grocery")
    received(shop, 20_000, date(2026, 11, 5))
    back = payments.pay_back(
        customer=shop, amount_cents=5_000, method="check", paid_by=builders.person(), **by()
    )

    payments.reverse(payment=back, reversed_by=builders.person(), reason="Wrong", **by())

    november = frame_rows(cash.by_month(CashFilters()))["2026-11"]
    assert (november["given_cents"], november["given_back_cents"]) == (20_000, 0)


def test_a_year_before_is_unknown_where_the_books_did_not_have_the_whole_month(year):
    rows = frame_rows(cash.by_month(CashFilters()))

    assert (rows["2026-11"]["received_before_cents"], rows["2026-11"]["paid_before_cents"]) == (
        20_000,
        5_000,
    )
    # The books began on October 14, 2025.
    unknown = [rows[month]["received_before_cents"] for month in ("2025-11", "2026-09", "2026-10")]
    assert unknown == [None] * 3


def test_months_agree_with_the_books_and_with_the_documents_to_the_cent(year):
    """Money is added up anew, line by line: of the book, and of the documents."""
    rows = frame_rows(cash.by_month(CashFilters()))
    there = change = 0
    moved_in = defaultdict(int)
    for line in EntryLine.objects.filter(account__in=KEPT).select_related("entry"):
        moved_in[f"{line.entry.entered_on:%Y-%m}"] += line.amount_cents
    for month, row in rows.items():
        change = row["received_cents"] - row["paid_cents"] + row["other_cents"]
        assert change == moved_in.pop(month, 0), month
        there += change
        assert row["there_cents"] == there
    assert not moved_in

    handed = sum(payment.handed_cents for payment in Payment.objects.filter(method__in=KEPT))
    assert sum(row["received_cents"] for row in rows.values()) == handed
    out = sum(each.amount_cents for each in SupplierPayment.objects.filter(undone_entry=None))
    out += sum(
        each.amount_cents
        for each in Expense.objects.filter(undone_entry=None).exclude(paid_by="owner")
    )
    out += sum(each.cents for each in MoneyMove.objects.filter(to_account="sales_tax"))
    assert sum(row["paid_cents"] for row in rows.values()) == out + 1_200  # the bank's fee


@pytest.mark.parametrize("since", [date(2025, 12, 1), date(2026, 11, 1), date(2027, 6, 1)])
@pytest.mark.parametrize("is_kept", [True, False])
def test_later_months_are_those_of_all_months(year, since, is_kept):
    if is_kept:
        account_months.rebuild()
    whole = cash.by_month(CashFilters())
    later = cash.by_month(CashFilters(since=since))

    wanted = [row for row in whole.to_dict("records") if row["month"] >= f"{since:%Y-%m}"]
    assert str(later.to_dict("records")) == str(wanted)
    assert later.attrs["answer"] == whole.attrs["answer"]


def test_what_the_money_was_is_said_in_all_before_its_months(office, year):
    page = " ".join(unescape(office.get("/reports/money-in-and-out/").text).split())

    # 200.00 + 100.00 + 300.00 + 8.00; back went 100.00 and 40.00.
    assert "From customers came $608.00; of that, $140.00 was given back or bounced." in page
    # 50.00 + 25.00, 40.00 of a bill, and 7.00 of tax with the 12.00 of the bank.
    assert "Paid out $134.00: expenses $75.00, bills $40.00, tax and other $19.00." in page


def test_the_page_says_first_what_came_what_is_due_and_what_is_to_pay(office, year):
    page = " ".join(unescape(office.get("/reports/money-by-month/").text).split())

    assert "Received $168.00 in November so far ($200.00 in all of November 2025)." in page
    assert "Paid out $84.00 in November so far. By the books there is $1,833.50 now." in page
    assert "Due by the end of December: $0.00; overdue: $0.00." in page
    assert "Bills to pay by then: $60.00; none is overdue." in page
    # What is of a month that is not over says so; the year before is whole.
    assert "$168.00 <small>(so far)</small>" in page.replace("</span>", "")
    assert "$200.00 <small>(so far)" not in page.replace("</span>", "")
    assert "No opening amount" not in page
    assert "The books begin on Oct 14, 2025: that month is not whole" in page


def test_a_year_before_has_a_total_only_where_each_month_of_it_is_known(office, year):
    """The 200.00 of November 2025 stand beside that of one month alone, not of all fourteen."""

    def before(address):
        names, *_months, sums = csv.reader(office.get(address).getvalue().decode().splitlines())
        return sums[names.index("Received a year before, USD")]

    assert before("/reports/money-by-month.csv") == ""
    assert before("/reports/money-by-month.csv?since=2026-11-01") == "200.00"


@pytest.mark.parametrize("days", ["", "?since=2026-01-01"])
def test_what_was_received_is_drawn_over_the_year_before(office, year, days):
    """October 2025, in which the books began, is compared with no other; 2025 is known from there.
    Of this year alone, too, the year before is drawn.
    """
    received, paid = office.get(f"/reports/money-by-month/{days}").context["made"].pictures

    assert [line.name for line in received.lines] == ["2026", "2025"]
    now, before = received.lines
    assert [mark.words for mark in before.marks] == ["$200.00", "$0.00"][: 1 if days else 2]
    assert [mark.words for mark in now.marks] == ["$0.00"] * 9 + ["$100.00", "$168.00"]
    assert [mark.is_hollow for mark in now.marks] == [False] * 10 + [True]
    assert before.marks[0].x == now.marks[10].x
    assert paid.lines[0].marks[-1].words == "$84.00"


def test_the_newest_month_is_first_and_the_table_says_so_until_somebody_sorts_it(office, year):
    def months(address):
        page = office.get(address).text
        table = page[page.index('id="table"') :]
        found = [table.index(name) for name in ("November 2026", "October 2025")]
        return found == sorted(found), "The newest month is first." in page

    assert months("/reports/money-by-month/") == (True, True)
    assert months("/reports/money-by-month/?sort=month") == (False, False)
    assert months("/reports/money-in-and-out/") == (False, False)


@pytest.fixture
def awaited(db):
    """What is to come on November 20, 2026; see the test for each figure."""
    room, owner = Room(), builders.person()
    shop, packer = builders.customer("Corner Grocery"), builders.customer("Prairie Packers")
    place = builders.place("stand", Place.Kind.STAND, name="Stand")
    pounds = builders.product("Pound jar", "1", code="one-pound")
    builders.packed_lot(pounds, place, 100, code="P25-001")
    for number, cents, due_on in (
        ("1", 10_000, date(2026, 11, 10)),
        ("2", 5_000, date(2026, 11, 30)),
        ("3", 7_000, date(2027, 1, 15)),
    ):
        opening.owe(
            customer=shop,
            number=number,
            amount_cents=cents,
            issued_on=date(2026, 10, 1),
            due_on=due_on,
            begins_on=date(2026, 10, 1),
            recorded_by=owner,
            **by(),
        )
    received(shop, 3_000, date(2026, 11, 2))
    room.bill(number="late", billed_on=date(2026, 10, 1), due_on=date(2026, 11, 1))
    room.bill(number="next", billed_on=date(2026, 11, 1), due_on=date(2026, 12, 10))
    room.monthly(next_on=date(2026, 11, 30))
    for customer, pieces, wanted_on in ((shop, 10, date(2026, 12, 5)), (packer, 2, None)):
        orders.take(
            customer=customer,
            channel=Order.Channel.SHOP,
            lines=[made.jars(pounds, pieces, "5.00")],
            wanted_on=wanted_on,
            created_by=owner,
            **by(),
        )


def test_what_is_due_and_expected_is_in_the_month_of_its_day(awaited):
    """Worked by hand. Of 100.00 that is overdue the 30.00 on account are taken off; 100.00 is to be
    paid in November, since today is the 20th. The order of 50.00 is wanted on December 5 and paid
    30 days later; that of 10.00 has no day. The rent comes again until three months after this.
    """
    rows = [
        (
            row["month"],
            *(row[f"{name}_cents"] for name in ("due", "bills", "expected_in", "expected_out")),
        )
        for row in cash.coming_by_month(CashFilters()).to_dict("records")
    ]

    assert rows == [
        ("overdue", 7_000, 10_000, 0, 0),
        ("2026-11", 5_000, 0, 0, 30_000),
        ("2026-12", 0, 10_000, 0, 30_000),
        ("2027-01", 7_000, 0, 5_000, 30_000),
        ("2027-02", 0, 0, 0, 30_000),
        ("no_day", 0, 0, 1_000, 0),
    ]


def test_what_is_overdue_is_said_apart_and_never_in_this_month(office, awaited):
    page = " ".join(unescape(office.get("/reports/money-to-come-by-month/").text).split())

    assert "Orders of $10.00 more have no day on which they are wanted." in page
    assert "Due by the end of December: $50.00; overdue: $70.00." in page
    assert "Bills to pay by then: $200.00, of which $100.00 is overdue." in page
    assert "Nov 2026 (from today on)" in page


def test_each_row_of_money_to_come_shows_the_figure_it_has_on_a_phone(office, awaited):
    page = office.get("/reports/money-to-come/").text

    [table] = re.findall(r"<tbody>(.*?)</tbody>", page, re.DOTALL)
    rows = table.split("<tr")[1:]
    shown = [
        re.findall(r'<td class="[^"]*line-end[^"]*"[^>]*>(.*?)</td>', row, re.S) for row in rows
    ]
    assert {len(each) for each in shown} == {1}
    assert all("$" in each for [each] in shown)


def test_what_nobody_knows_is_said_and_not_counted(office, awaited):
    gift = builders.product("Gift jar", "1", code="gift")
    builders.packed_lot(gift, Place.objects.get(code="stand"), 5)
    shop = Order.objects.get(wanted_on=date(2026, 12, 5)).customer
    orders.take(
        customer=shop,
        channel=Order.Channel.SHOP,
        lines=[made.jars(gift, 1, "0")],
        created_by=builders.person(),
        **by(),
    )

    page = " ".join(unescape(office.get("/reports/money-to-come/").text).split())

    assert "1 open order has goods at a price of zero: given away, or no price yet." in page


def _standing(customer, product, pieces):
    return standing_orders.set_up(
        customer=customer,
        channel=Order.Channel.SHOP,
        rhythm="monthly",
        lines=[PiecesWanted(product, pieces)],
        starts_on=date(2026, 12, 1),
        created_by=builders.person(),
        **by(),
    )


def test_a_standing_order_is_expected_on_each_of_its_days_and_without_a_price_it_is_said(
    db, django_assert_num_queries
):
    """10 jars at 6.00 on the first of December, January and February, each paid 30 days later; the
    second customer's jars have no price. However many there are, it takes as many questions.
    """
    jar = builders.product("Pound jar", "1", code="one-pound")
    unpriced = builders.product("Gift jar", "1", code="gift")
    PiecePrice.objects.create(
        product=jar, tier=Customer.Tier.SHOP, piece_cents=600, valid_from=date(2026, 1, 1)
    )
    _standing(builders.customer("Corner Grocery"), jar, 10)
    with CaptureQueriesContext(connection) as one:
        coming = to_come.read(made.TODAY)
    assert [(item.day, item.cents) for item in coming.items] == [
        (date(2026, 12, 31), 6_000),
        (date(2027, 1, 31), 6_000),
        (date(2027, 3, 3), 6_000),
    ]

    for number in range(3):
        _standing(builders.customer(f"Shop {number}"), unpriced, 1)
    with django_assert_num_queries(len(one)):
        coming = to_come.read(made.TODAY)

    assert len(coming.items) == 3
    assert coming.not_known == (
        "3 standing orders have goods without a price; these are not counted.",
    )


@pytest.mark.parametrize(("late", "usual"), [((4, 10, 1), 4), ((4, 10), None)])
def test_how_late_a_customer_usually_pays_is_the_median_of_three_or_more(house, late, usual):
    """Three invoices were paid 1, 4 and 10 days late, so a fourth is expected 4 days late."""
    owner = builders.person()
    terms = timedelta(days=30)
    shop = builders.customer("Hill Shop")
    for days_late in (*late, None):
        made.order(shop, "shop", made.jars(house.pounds, 1, "5.00"), on=date(2026, 9, 1))
        order = Order.objects.filter(customer=shop).latest("id")
        invoice = invoices.issue(order=order, issued_by=owner, issued_on=date(2026, 9, 1), **by())
        assert invoice.due_on == date(2026, 9, 1) + terms
        if days_late is not None:
            received(
                shop,
                invoice.open_cents,
                invoice.due_on + timedelta(days=days_late),
                allocations={invoice: invoice.open_cents},
            )

    [row] = [
        row
        for row in to_come.lines(ComingFilters()).to_dict("records")
        if row["who"] == "Hill Shop"
    ]

    assert row["due_cents"] == 500
    assert row["usual_days"] == usual
    # Late already, it can come today at the earliest.
    assert row["usual_on"] == (date(2026, 11, 20) if usual else None)

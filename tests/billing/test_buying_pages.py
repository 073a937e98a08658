"""Pages of buying: what a clerk types is ordered, billed, paid, spent and listed."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.billing.models import (
    Expense,
    PurchaseOrder,
    RecurringExpense,
    SupplierBill,
    SupplierPayment,
)
from apiary_sales.billing.services import purchase_orders
from apiary_sales.billing.services.bills import LineBilled
from apiary_sales.billing.services.purchase_orders import LineOrdered
from apiary_sales.pricing.models import SeasonExpense
from inventory.bottling.models import PartReceipt
from inventory.bottling.services import parts
from inventory.shared.models import Attachment
from tests import builders
from tests.billing.buying_room import TODAY, Room, book_faults
from tests.billing.conftest import errors_in, filled_in, queries_of, words_of
from tests.uploads import PDF, upload

pytestmark = pytest.mark.django_db

DAY = f"{TODAY:%Y-%m-%d}"


@pytest.fixture
def room(house):
    return Room()


@pytest.fixture
def office(client, room):
    client.force_login(room.person)
    return client


def url(name, *args):
    return reverse(f"billing:{name}", args=args)


def shown(client, name, *args, **query):
    answer = client.get(url(name, *args), query)
    assert answer.status_code == 200
    return words_of(answer.content.decode())


def rows_of(answer):
    assert answer["Content-Type"].startswith("text/csv")
    return list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))


def order_data(room, **more):
    return {
        "key": "k1",
        "supplier": room.supplier.pk,
        "ordered_on": DAY,
        "thing_0": f"part-{room.jar.pk}",
        "quantity_0": "1,000",
        "quantity_0_unit": "pieces",
        "price_0": "0.42",
        "thing_2": f"goods-{room.wax.pk}",
        "quantity_2": "10",
        "quantity_2_unit": "lb",
        "price_2": "6.50",
        "code_2": "W-10",
        **more,
    }


def test_the_page_asks_whether_more_came_than_was_ordered(office, room):
    receive = url("purchase_order_receive", room.order().number)
    too_much = {
        "key": "k1",
        "quantity": "1,001",
        "quantity_unit": "pieces",
        "place": room.shelf.pk,
        "received_on": DAY,
    }

    assert 'type="checkbox"' not in office.get(receive).text
    asked = office.post(receive, too_much)
    assert asked.status_code == 422
    assert "1,000 pieces of One-pound jar are ordered" in asked.text
    assert 'type="checkbox" name="more_is_right"' in asked.text
    assert office.post(receive, {**too_much, "more_is_right": "on"}).status_code == 302


def test_an_order_is_written_received_and_printed(office, room):
    answer = office.post(url("purchase_order_create"), order_data(room, freight="12.00"))

    order = PurchaseOrder.objects.get()
    assert answer["Location"] == url("purchase_order", order.number)
    page = shown(office, "purchase_order", order.number)
    assert "One-pound jar" in page
    assert "$497.00" in page
    line = order.lines.first()
    receive = f"{url('purchase_order_receive', order.number)}?line={line.pk}"
    # 420.00, and 420 of 485 parts of 12.00 freight: 10.39.
    assert "$430.39" in office.get(receive).text
    answer = office.post(
        receive,
        {
            "key": "k2",
            "quantity": "600",
            "quantity_unit": "pieces",
            "place": room.shelf.pk,
            "received_on": DAY,
        },
        follow=True,
    )
    assert "part received" in words_of(answer.content.decode())
    # Nobody entered its cost: 600 of 1,000 pieces of 430.39, not all of it.
    assert PartReceipt.objects.get().cost_cents == 25_823
    pdf = office.get(url("purchase_order_pdf", order.number))
    assert pdf.content.startswith(b"%PDF-")
    assert "PO26-0001" in shown(office, "purchase_order_list", text="meadow")


def test_a_long_order_keeps_all_its_lines_when_it_is_changed(office, room):
    order = purchase_orders.place(
        supplier=room.supplier,
        lines=[LineOrdered(room.jar, 100 + number, Decimal("0.42")) for number in range(8)],
        ordered_by=room.person,
        key="long",
    )
    page = url("purchase_order_change", order.number)
    office.post(page, {**filled_in(office.get(page)), "key": "k", "note": "By truck"})

    order.refresh_from_db()
    assert order.note == "By truck"
    assert [line.quantity for line in order.lines.all()] == list(range(100, 108))


def test_a_discount_without_its_payment_is_refused_and_not_left_out(office, room):
    first = room.bill(LineBilled(10_000, category="repairs"))
    second = room.bill(
        LineBilled(10_000, category="repairs"),
        number="M-2",
        discount_percent=Decimal(2),
        discount_until=TODAY,
    )

    answer = office.post(
        url("supplier_pay", room.supplier.pk),
        {
            "key": "p",
            "paid_by": "check",
            "paid_on": DAY,
            f"amount_{first.pk}": "100.00",
            f"discount_{second.pk}": "2.00",
        },
    )

    assert errors_in(answer) == ["For bill M-2: Enter an amount above zero."]
    first.refresh_from_db()
    assert first.open_cents == 10_000


def test_a_line_that_is_wrong_is_told_at_its_field(office, room):
    answer = office.post(
        url("purchase_order_create"),
        order_data(room, price_2="", thing_4="", quantity_4="3"),
    )

    assert answer.status_code == 422
    assert errors_in(answer) == [
        "Price of a piece or pound: Enter the price, or 0 if it is free.",
        "What: Choose what is ordered.",
    ]
    answer = office.post(url("purchase_order_create"), order_data(room, quantity_0="0"))
    assert answer.status_code == 422
    assert "quantity_0" in answer.context["form"].errors
    assert not PurchaseOrder.objects.exists()


@pytest.mark.parametrize("wrong", ["a\x00", "x" * 500])
def test_a_number_that_is_no_number_of_the_supplier_is_told_at_its_field(office, room, wrong):
    answer = office.post(url("purchase_order_create"), order_data(room, code_2=wrong))

    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"code_2"}


@pytest.mark.parametrize("wrong", ["a\x00", "x" * 5000])
def test_what_cannot_be_said_of_a_bill_is_told_at_its_field(office, room, wrong):
    answer = office.post(
        f"{url('bill_create')}?supplier={room.supplier.pk}",
        {
            "key": "b1",
            "number": "M-9",
            "billed_on": DAY,
            "amount_1": "60",
            "category_1": "rent",
            "about_1": wrong,
        },
    )

    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"about_1"}


def test_an_order_is_changed_linked_and_closed(office, room):
    order = room.order()
    line = order.lines.get()
    office.post(
        url("purchase_order_change", order.number),
        {
            "key": "k",
            "thing_0": f"part-{room.jar.pk}",
            "quantity_0": "800",
            "quantity_0_unit": "pieces",
            "price_0": "0.40",
            "note": "Pallets",
        },
    )
    line = order.lines.get()
    assert (line.quantity, line.amount_cents) == (800, 32_000)
    receipt = parts.receive(
        part=room.jar,
        place=room.shelf,
        pieces=700,
        cost_cents=28_000,
        supplier="Meadow Glass",
        received_on=TODAY,
        recorded_by=room.person,
        key="came",
    )
    assert "Received without an order" in shown(office, "purchase_order", order.number)

    office.post(url("purchase_order_link", order.number), {"line": line.pk, "receipt": receipt.pk})
    answer = office.post(url("purchase_order_close", order.number), {"key": "c", "reason": ""})
    assert errors_in(answer) == [
        "Why is the rest no longer expected?: Say why the rest is no longer expected."
    ]
    office.post(url("purchase_order_close", order.number), {"key": "c", "reason": "Sold out"})

    order.refresh_from_db()
    assert order.status == "closed"


def test_a_bill_is_entered_with_its_delivery_and_an_expense(office, room):
    delivery = room.delivery()
    page = shown(office, "bill_create", supplier=room.supplier.pk)
    assert "Cost in the books: $420.00" in page

    answer = office.post(
        f"{url('bill_create')}?supplier={room.supplier.pk}",
        {
            "key": "b1",
            "number": "MG-7",
            "billed_on": DAY,
            f"amount_part-{delivery.pk}": "440.00",
            f"takes_over_part-{delivery.pk}": "on",
            "category_1": "feed",
            "about_1": "Syrup",
            "amount_1": "60",
            "season_1": "2026",
            "total": "500",
            "discount_percent": "2",
            "discount_until": DAY,
        },
    )

    bill = SupplierBill.objects.get()
    assert answer["Location"] == url("bill", bill.pk)
    assert (bill.total_cents, bill.due_on) == (50_000, TODAY + timedelta(days=30))
    assert SeasonExpense.objects.get().amount_cents == 6_000
    delivery.refresh_from_db()
    assert delivery.cost_cents == 44_000
    page = shown(office, "bill", bill.pk)
    assert "Syrup in the cost of the honey of 2026" in page
    assert "Discount if paid today $10.00" in page
    assert book_faults() == []


def test_a_bill_that_is_wrong_is_told_at_its_fields(office, room):
    delivery = room.delivery()
    room.bill(LineBilled(42_000, delivery), number="MG-7")

    answer = office.post(
        f"{url('bill_create')}?supplier={room.supplier.pk}",
        {
            "key": "b1",
            "number": "mg-7",
            "billed_on": DAY,
            "amount_0": "5",
            "category_1": "rent",
            "amount_1": "60",
            "season_1": "2026",
        },
    )

    assert set(answer.context["form"].errors) == {"number", "category_0", "season_1"}
    assert SupplierBill.objects.count() == 1


def test_bills_are_paid_and_undone(office, room):
    first, second = room.bill(number="MG-1"), room.bill(number="MG-2")
    pay = url("supplier_pay", room.supplier.pk)
    assert (
        office.get(pay, {"bill": first.pk}).context["form"][f"amount_{first.pk}"].value()
        == "100.00"
    )

    answer = office.post(pay, {"key": "p", "paid_by": "check", "paid_on": DAY})
    assert errors_in(answer) == ["Enter an amount for at least one bill."]
    answer = office.post(
        pay,
        {"key": "p", "paid_by": "check", "paid_on": DAY, f"amount_{first.pk}": "100.01"},
    )
    assert set(answer.context["form"].errors) == {f"amount_{first.pk}"}
    office.post(
        pay,
        {
            "key": "p",
            "paid_by": "check",
            "paid_on": DAY,
            "reference": "1201",
            f"amount_{first.pk}": "100",
            f"amount_{second.pk}": "25",
        },
    )

    payment = SupplierPayment.objects.get()
    assert payment.amount_cents == 12_500
    assert "Check 1201" in shown(office, "bill", first.pk)
    assert office.get(pay).context["open_cents"] == 7_500
    office.post(url("supplier_payment_undo", payment.pk), {"key": "u", "reason": "Lost"})
    office.post(url("bill_undo", second.pk), {"key": "v", "reason": "Not ours"})
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.open_cents, second.open_cents, second.is_undone) == (10_000, 0, True)
    assert "Undone on Sep 10, 2026: Not ours" in shown(office, "bill", second.pk)
    assert book_faults() == []


def test_lists_of_bills_and_balances_come_as_csv_with_the_filters_of_the_page(office, room):
    room.bill(number="MG-1", billed_on=TODAY - timedelta(days=40))
    room.bill(number="MG-2")

    assert "MG-1" in shown(office, "bill_list", state="overdue")
    assert "MG-2" not in shown(office, "bill_list", state="overdue")
    rows = rows_of(office.get(url("bill_list_csv"), {"state": "overdue"}))
    assert [row[1] for row in rows] == ["Number of the bill", "MG-1"]
    assert rows[1][4:] == ["overdue", "100.00", "100.00", "USD"]
    assert rows_of(office.get(url("supplier_balances_csv")))[1][:4] == [
        "Meadow Glass",
        "200.00",
        "100.00",
        "2",
    ]
    assert "Every delivery is billed." in shown(office, "supplier_balances")


def test_an_expense_is_entered_with_its_receipt_and_its_season(office, room):
    answer = office.post(
        url("expense_create"),
        {
            "key": "e",
            "payee": "Ridge Fuel",
            "category": "fuel",
            "amount": "61.20",
            "paid_by": "cash",
            "spent_on": DAY,
            "season": "2026",
            "file": upload("receipt.pdf", PDF),
        },
    )

    expense = Expense.objects.get()
    assert answer["Location"] == url("expense", expense.pk)
    assert (expense.amount_cents, expense.season_expense.season) == (6_120, 2026)
    assert Attachment.objects.get().thing == expense
    assert "receipt.pdf" in shown(office, "expense", expense.pk)
    office.post(url("expense_undo", expense.pk), {"key": "u", "reason": "Twice"})
    assert not SeasonExpense.objects.exists()
    assert "Undone on Sep 10, 2026: Twice" in shown(office, "expense", expense.pk)


def test_a_file_that_is_refused_leaves_no_expense(office, room):
    answer = office.post(
        url("expense_create"),
        {
            "key": "e",
            "payee": "Ridge Fuel",
            "category": "fuel",
            "amount": "61.20",
            "paid_by": "cash",
            "spent_on": DAY,
            "file": upload("receipt.pdf", b"MZ no paper at all"),
        },
    )

    assert set(answer.context["form"].errors) == {"file"}
    assert not Expense.objects.exists()


def test_expenses_are_listed_by_category_and_month_and_come_as_csv(office, room):
    room.spend(5_000, spent_on=date(2026, 3, 2))
    room.spend(2_000, category="office", payee="Paper Shop")

    page = shown(office, "expense_list")
    assert "Ridge Fuel" in page
    assert "Mar 2026" in page
    assert "Ridge Fuel" not in shown(office, "expense_list", category="office")
    rows = rows_of(office.get(url("expense_list_csv"), {"category": "office"}))
    assert [row[2] for row in rows] == ["Paid to", "Paper Shop"]
    months = rows_of(office.get(url("expense_months_csv"), {"since": "2026-03-01"}))
    assert months[0] == ["What for", *(f"2026-0{month}" for month in range(3, 10)), "Total"]
    assert months[-1][1] == "50.00"
    assert months[-1][-1] == "70.00"


def test_what_comes_again_is_entered_changed_and_skipped_with_one_click(office, room):
    office.post(
        url("recurring_create"),
        {
            "key": "r",
            "payee": "Ridge Hall",
            "category": "rent",
            "amount": "300",
            "paid_by": "transfer",
            "rhythm": "month",
            "next_on": "2026-07-31",
            "is_active": "on",
        },
    )
    rent = RecurringExpense.objects.get()
    assert "2 are waiting; this is the first." in shown(office, "expense_list")

    for _click in range(2):
        office.post(url("recurring_enter", rent.pk), {"due_on": "2026-07-31"})
    assert [each.spent_on for each in Expense.objects.all()] == [date(2026, 7, 31)]
    form = office.get(url("expense_create"), {"recurring": rent.pk}).context["form"]
    assert (form["amount"].value(), form["spent_on"].value()) == ("300.00", date(2026, 8, 31))
    office.post(url("recurring_skip", rent.pk), {"due_on": "2026-08-31"})
    rent.refresh_from_db()
    assert rent.next_on == date(2026, 9, 30)
    office.post(
        url("recurring_change", rent.pk),
        {
            "key": "r2",
            "payee": "Ridge Hall",
            "category": "rent",
            "amount": "320",
            "paid_by": "transfer",
            "rhythm": "quarter",
            "next_on": "2026-10-01",
        },
    )
    rent.refresh_from_db()
    assert (rent.amount_cents, rent.is_active) == (32_000, False)
    assert "Due again" not in shown(office, "recurring_list")


def test_only_office_and_owner_see_what_is_bought(client, room):
    for role, code in (("office", 200), ("owner", 200), ("bottling", 403), ("stand", 403)):
        client.force_login(builders.person(role))
        assert client.get(url("bill_list")).status_code == code


def test_lists_take_as_many_questions_for_many_as_for_few(office, room):
    def all_lists():
        names = ("bill_list", "purchase_order_list", "expense_list", "supplier_balances")
        return [queries_of(office, url(name)) for name in names]

    def one(number):
        room.supplier = builders.supplier(f"Supplier {number}", "parts")
        room.bill(number=str(number))
        room.delivery(10)
        room.spend()

    one(1)
    few = all_lists()
    for number in range(2, 6):
        one(number)

    assert all_lists() == few

"""Pages of payments over chosen invoices, deposits, bounced checks, and the beginning of books."""

from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from apiary_sales.billing.models import (
    Adjustment,
    BouncedCheck,
    CashCount,
    DepositSlip,
    Invoice,
    OpeningAmount,
    Payment,
)
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import credit_notes, deposit_slips
from apiary_sales.pricing.services import service_list
from inventory.shared.models import House
from inventory.stock.models import Lot
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import (
    NOON,
    TODAY,
    days,
    errors_in,
    invoice_of,
    jars,
    order_of,
    pay,
    words_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client, house):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def typed():
    return {
        "key": "p-1",
        "amount": "50.00",
        "method": "check",
        "reference": "4410",
        "received_on": "2026-09-10",
        "allocations": "oldest",
    }


def address(shop):
    return reverse("billing:payment_create") + f"?customer={shop.pk}"


def read(answer):
    assert answer.status_code == 200
    return words_of(answer.content.decode())


def test_one_payment_pays_the_invoices_that_are_ticked(office, shop, pounds, typed):
    first, second, third = (invoice_of(shop, jars(pounds, 5, "6.00")) for _each in range(3))

    page = read(
        office.post(
            address(shop),
            typed
            | {
                "allocations": "chosen",
                f"take_{first.pk}": "on",
                f"share_{third.pk}": "15",
                "rest": "leave",
                "amount": "45",
            },
            follow=True,
        )
    )

    assert "$45.00 from Corner Grocery recorded." in page
    left = [Invoice.objects.get(pk=each.pk).open_cents for each in (first, second, third)]
    assert left == [0, 3_000, 1_500]


def test_what_is_left_is_asked_about(office, shop, pounds, typed):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    form = typed | {"allocations": "chosen", f"take_{invoice.pk}": "on", "amount": "59.50"}

    asked = office.post(address(shop), form)
    page = read(
        office.post(
            address(shop),
            form | {"rest": "write_off", "rest_reason": "Too little to ask for"},
            follow=True,
        )
    )

    assert asked.status_code == 422
    assert errors_in(asked) == [
        "What is left to pay of these invoices: Invoice F26-00001 has $0.50 left to pay after this "
        "payment. Say what happens with it."
    ]
    assert "Remainder written off $0.50 F26-00001" in page
    assert list(books.faults()) == []


def test_a_payment_short_by_the_discount_is_offered_it(office, shop, pounds, typed):
    shop.discount_percent, shop.discount_days = Decimal(2), 10
    shop.save()
    invoice_of(shop, jars(pounds, 10, "6.00"))
    form = typed | {"amount": "58.80"}

    looked_at = read(office.get(address(shop)))
    asked = office.post(address(shop), form)
    office.post(address(shop), form | {"rest": "discount"})

    assert "2 % off until Sep 20, 2026: $58.80" in looked_at
    assert "That is exactly the discount for payment by Sep 20, 2026." in errors_in(asked)[0]
    assert Adjustment.objects.get().total_cents == 120


def test_the_terms_are_on_the_invoice_and_its_paper(office, shop, pounds):
    from apiary_sales.billing import papers
    from inventory.shared import documents

    shop.discount_percent, shop.discount_days = Decimal(2), 10
    shop.save()
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))

    page = read(office.get(reverse("billing:invoice_detail", args=[invoice.pk])))
    paper = words_of(
        documents.render_html("documents/invoice.html", papers.invoice_context(invoice))
    )

    assert "2 % if paid by Sep 20, 2026: $1.20" in page
    assert "2 % if paid by Sep 20, 2026" in paper
    assert "30 days net" in paper
    assert "If you pay by Sep 20, 2026, you may take $1.20 (2 %) off." in paper


def test_ticking_no_invoice_is_refused(office, shop, pounds, typed):
    invoice_of(shop, jars(pounds, 10, "6.00"))

    answer = office.post(address(shop), typed | {"allocations": "chosen"})

    assert errors_in(answer) == ["Used for: Tick the invoices that this payment is for."]


def test_the_same_payment_again_is_asked_about(office, shop, typed):
    pay(shop, 5_000, reference="4410")

    asked = office.post(address(shop), typed)
    office.post(address(shop), typed | {"is_another": "on"})

    assert errors_in(asked) == [
        "It is another payment: $50.00 from Corner Grocery, check 4410, is recorded on "
        "Sep 10, 2026 already. Is it the same payment? If it is another one, tick that it is."
    ]
    assert Payment.objects.count() == 2


def test_money_is_taken_for_an_order(office, shop, pounds, typed):
    order = order_of(shop, jars(pounds, 10, "6.00"))
    here = reverse("billing:payment_create") + f"?order={order.number}"

    page = read(office.post(here, typed | {"allocations": "order"}, follow=True))
    part = words_of(
        office.get(
            reverse("billing:order_money"), {"order": order.number}, headers={"HX-Request": "true"}
        ).content.decode()
    )

    assert f"Of this, $50.00 is kept for order {order.number}." in page
    assert "$50.00 not used yet" in part
    payment = Payment.objects.get()
    office.post(reverse("billing:free_prepayment", args=[payment.pk]))
    payment.refresh_from_db()
    assert payment.order is None


def test_a_credit_note_is_given_back_as_it_was_paid(office, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 6_000, method="card")
    note = credit_notes.credit(
        invoice=invoice, issued_by=builders.person(), key="c", reason="Leaked"
    )
    here = reverse("billing:refund", args=[note.pk])

    assert here in office.get(reverse("billing:invoice_detail", args=[note.pk])).content.decode()
    form = office.get(here).context["form"]
    page = read(
        office.post(
            here,
            {"key": "r", "amount": "60", "method": "card", "received_on": "2026-09-10"},
            follow=True,
        )
    )

    assert (form["amount"].value(), form["method"].value()) == ("60.00", "card")
    assert "For credit note C26-00001" in page


def test_a_check_bounces_and_was_good_after_all(office, shop, pounds):
    service_list.add_usual()
    invoice_of(shop, jars(pounds, 10, "6.00"))
    check = pay(shop, 6_000)
    deposit_slips.deposit(checks=[check], cash_cents=0, deposited_by=builders.person(), key="d")

    page = read(
        office.post(
            reverse("billing:bounce", args=[check.pk]),
            {
                "key": "b",
                "bounced_on": "2026-09-10",
                "bank_fee": "12",
                "customer_fee": "35",
                "reason": "",
            },
            follow=True,
        )
    )
    good = read(
        office.post(
            reverse("billing:good", args=[check.pk]), {"key": "g", "reason": "Bank"}, follow=True
        )
    )

    assert "Invoice F26-00002 is issued for $35.00." in page
    assert "Fee of the bank $12.00" in page
    assert "Its payment is recorded again." in good
    assert BouncedCheck.objects.get().is_undone
    assert list(books.faults()) == []


def test_a_remainder_is_written_off_and_taken_back(office, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    here = reverse("billing:adjust", args=[invoice.pk])
    form = {"key": "a", "kind": "bad_debt", "amount": "60", "reason": "Closed"}

    page = read(office.post(here, form | {"happened_on": "2026-09-10"}, follow=True))
    made = Adjustment.objects.get()
    listed = read(office.get(reverse("billing:adjustments")))
    statement = read(office.get(reverse("billing:statement", args=[shop.pk])))
    back = read(
        office.post(
            reverse("billing:adjustment", args=[made.pk]),
            {"key": "u", "reason": "They paid"},
            follow=True,
        )
    )

    assert "$60.00 is taken off invoice F26-00001." in page
    assert "bad debt" in listed
    assert "Bad debt, F26-00001" in statement
    assert "$60.00 is to be paid again on invoice F26-00001." in back


def test_too_much_is_not_written_off(office, shop, pounds):
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    form = {"key": "a", "kind": "write_off", "amount": "60.01", "reason": "x"}

    answer = office.post(
        reverse("billing:adjust", args=[invoice.pk]), form | {"happened_on": "2026-09-10"}
    )

    assert errors_in(answer) == [
        "Amount: Invoice F26-00001 has $60.00 left to pay. Enter an amount up to $60.00."
    ]


def test_interest_is_shown_before_it_is_billed(office, shop, pounds):
    service_list.add_usual()
    invoice_of(shop, jars(pounds, 10, "6.00"))
    House.objects.update(interest_percent_a_year=Decimal(18))
    here = reverse("billing:interest", args=[shop.pk])

    with time_machine.travel(NOON + days(50), tick=False):
        office.force_login(builders.person("office"))
        shown = read(office.get(here))
        until = (TODAY + days(50)).isoformat()
        form = {"key": "n", "percent_a_year": "18", "until": until, "total_cents": "59"}
        stale = office.post(here, form | {"total_cents": "58"})
        page = read(office.post(here, form, follow=True))

    # 60.00 at 18 % for 20 days of 365 is 0.5918.
    assert "Bill $0.59 of interest" in shown
    assert stale.status_code == 422
    assert "Invoice F26-00002 is issued for $0.59." in page


def test_checks_and_cash_are_put_on_a_slip_and_taken_off(office, shop):
    check = pay(shop, 2_000, reference="77")
    pay(shop, 1_000, method="cash")
    form = {
        "key": "d",
        "checks": [check.pk],
        "cash": "8",
        "deposited_on": "2026-09-10",
        "bank_account": "Valley Bank",
    }

    before = read(office.get(reverse("billing:deposit_slips")))
    page = read(office.post(reverse("billing:deposit_slip_create"), form, follow=True))
    slip = DepositSlip.objects.get()
    paper = office.get(reverse("billing:deposit_slip_pdf", args=[slip.pk]))
    undone = read(
        office.post(
            reverse("billing:deposit_slip_undo", args=[slip.pk]),
            {"key": "u", "reason": "Closed"},
            follow=True,
        )
    )

    assert "Checks here $20.00 1 check Cash in the books $10.00" in before
    assert "Deposit slip 1 over $28.00 is recorded." in page
    assert paper.content[:5] == b"%PDF-"
    assert "Undone on Sep 10, 2026: Closed" in undone


def test_the_cash_book_is_a_page_and_a_table(office, shop):
    pay(shop, 2_000, method="cash")

    page = read(office.get(reverse("billing:cash_book")))
    table = office.get(reverse("billing:cash_book_csv"), {"account": "cash"}).content.decode()

    assert "cash $0.00 $20.00 $0.00 $20.00" in page
    assert table.splitlines()[1:] == [
        "2026-09-01,cash,Opening,,,0.00",
        '2026-09-10,cash,"Payment, Corner Grocery",20.00,0.00,20.00',
        "2026-09-10,cash,Closing,20.00,0.00,20.00",
    ]


def test_the_cash_is_counted(office, shop):
    pay(shop, 2_000, method="cash")
    here = reverse("billing:cash_count_create")
    form = {"key": "k", "counted": "19.50", "counted_on": "2026-09-10", "note": ""}

    asked = office.post(here, form)
    page = read(office.post(here, form | {"note": "Gave too much change"}, follow=True))
    made = CashCount.objects.get()
    office.post(
        reverse("billing:cash_count_undo", args=[made.pk]), {"key": "u", "reason": "Found it"}
    )

    assert "The books have $20.00" in errors_in(asked)[0]
    assert "Gave too much change" in page
    assert deposit_slips.cash_there_cents() == 2_000


def test_the_books_begin_with_what_was_there(office, shop):
    began = {"begins_on": "2026-07-01", "note": ""}
    office.post(
        reverse("billing:opening_invoice"),
        began
        | {
            "key": "o1",
            "customer": shop.pk,
            "number": "1187",
            "amount": "125",
            "issued_on": "2026-05-20",
            "due_on": "2026-06-19",
        },
    )
    office.post(
        reverse("billing:opening_credit"),
        began | {"key": "o2", "customer": shop.pk, "amount": "40", "reference": "C-88"},
    )
    office.post(
        reverse("billing:opening_amount"),
        began | {"key": "o3", "account": "cash", "amount": "50"},
    )
    office.post(
        reverse("billing:first_number"), {"key": "o4", "series": "invoice F26", "number": "1188"}
    )

    page = read(office.get(reverse("billing:opening")))
    assert "Corner Grocery 1187 Jun 19, 2026 $125.00 $125.00" in page
    assert "Corner Grocery C-88 $40.00" in page
    assert "Invoices 1188" in page
    opened = Invoice.objects.get()
    assert "Opening" in read(office.get(reverse("billing:statement", args=[shop.pk])))
    detail = reverse("billing:invoice_detail", args=[opened.pk])
    assert "Invoice 1187" in read(office.get(detail))
    assert office.get(reverse("billing:invoice_pdf", args=[opened.pk])).status_code == 302
    listed = read(office.get(reverse("billing:invoice_list")))
    assert "1187" in listed

    back = office.post(
        reverse("billing:opening_take_back", args=[opened.pk]),
        {"key": "t", "reason": "Wrong"},
        follow=True,
    )
    assert "Opening invoice 1187 is taken back." in read(back)
    amount = OpeningAmount.objects.get()
    office.post(
        reverse("billing:opening_amount_undo", args=[amount.pk]), {"key": "u", "reason": "Wrong"}
    )
    assert deposit_slips.cash_there_cents() == 0
    assert list(books.faults()) == []


def test_an_opening_invoice_cannot_be_credited(office, shop):
    from tests.billing.test_opening import owes

    opened = owes(shop)

    answer = office.post(
        reverse("billing:invoice_credit", args=[opened.pk]), {"key": "c", "reason": "x"}
    )

    assert errors_in(answer) == [
        "Invoice 1187 was written before the books began. Take it back instead."
    ]


def test_jars_begin_with_their_printed_code(client, pounds, shelf):
    client.force_login(builders.person())
    form = {
        "key": "j",
        "product": pounds.pk,
        "pieces": "40",
        "place": shelf.pk,
        "lot_code": "OLD-7",
        "floral_source": "Clover",
        "season": "2025",
        "bottled_on": "2026-02-03",
        "best_by": "2028-02-03",
        "cost": "100",
        "begins_on": "2026-07-01",
        "note": "",
    }

    page = read(client.post(reverse("inventory:opening_jars"), form, follow=True))

    lot = Lot.objects.get(code="OLD-7")
    assert "The jars of lot OLD-7 are in the books." in page
    assert (lot.quantity_made, lot.cost_cents, lot.made_on.isoformat()) == (
        40,
        10_000,
        "2026-02-03",
    )
    assert list(stock_books.faults()) == []

"""A tampered book is found out: each law, broken behind the services' back, is named."""

import pytest
from django.db import IntegrityError, models, transaction
from django.urls import reverse

from apiary_sales.billing.models import (
    Allocation,
    Entry,
    EntryLine,
    Invoice,
    InvoiceLine,
    Payment,
)
from apiary_sales.billing.queries import books
from apiary_sales.billing.services import book, credit_notes, payments
from apiary_sales.customers.models import CustomerBalance
from tests import builders
from tests.billing.conftest import TODAY, invoice_of, jars, pay

pytestmark = pytest.mark.django_db


@pytest.fixture
def invoice(shop, pounds):
    """60.00, of which 20.00 is paid."""
    invoice = invoice_of(shop, jars(pounds, 10, "6.00"))
    pay(shop, 2_000)
    return invoice


def rows(model, **which):
    """Return rows that can be changed, as somebody with the database in hand can."""
    return models.QuerySet(model).filter(**which)


def faults():
    return list(books.faults())


def test_an_untouched_book_has_no_fault(invoice):
    assert faults() == []


@pytest.mark.usefixtures("without_triggers")
def test_an_entry_that_does_not_balance(invoice):
    entry = invoice.entry.pk
    rows(EntryLine, entry=entry, account="sales").update(amount_cents=-5_999)

    assert faults() == [f"Entry {entry} adds up to 1 cents, not zero."]


@pytest.mark.usefixtures("without_triggers")
def test_a_bill_that_is_not_in_the_book(invoice):
    rows(EntryLine, entry=invoice.entry).delete()
    rows(Entry, invoice=invoice).delete()

    assert "F26-00001 is entered at 0 cents, not 6000." in faults()


@pytest.mark.usefixtures("without_triggers")
def test_a_payment_entered_at_another_amount(invoice):
    payment = Payment.objects.get()
    rows(EntryLine, entry=payment.entry, account="receivable").update(amount_cents=-2_001)
    rows(EntryLine, entry=payment.entry, account="check").update(amount_cents=2_001)

    assert f"Payment {payment.pk} of 2000 cents is entered at 2001." in faults()


@pytest.mark.usefixtures("without_triggers")
def test_a_payment_that_is_said_to_be_paid_another_way(invoice):
    payment = Payment.objects.get()
    rows(Payment, pk=payment.pk).update(method="card")

    assert faults() == [
        f"Payment {payment.pk} says that it was paid by card, and is entered as check."
    ]


@pytest.mark.usefixtures("without_triggers")
def test_documents_that_were_given_to_another_customer(invoice):
    other = builders.customer("Harvest Table")
    payment = Payment.objects.get()
    rows(Invoice, pk=invoice.pk).update(customer=other)
    rows(Payment, pk=payment.pk).update(customer=None)

    found = faults()

    assert "F26-00001 says Harvest Table, and is entered for Corner Grocery." in found
    assert f"Payment {payment.pk} says no customer, and is entered for Corner Grocery." in found


def test_a_balance_that_is_not_the_sum_of_its_lines(invoice):
    CustomerBalance.objects.update(owed_cents=3_999)

    assert faults() == ["Corner Grocery owes 4000 cents by the lines, 3999 by the balance."]


def test_a_balance_that_is_missing(invoice):
    CustomerBalance.objects.all().delete()

    assert faults() == ["Corner Grocery owes 4000 cents by the lines and has no balance."]


@pytest.mark.usefixtures("without_triggers")
def test_a_total_that_is_not_the_sum_of_its_lines(invoice):
    InvoiceLine.objects.update(amount_cents=6_001)

    assert "F26-00001 says 6000 + 0 = 6000 cents, its lines 6001 + 0." in faults()


@pytest.mark.usefixtures("without_triggers")
def test_more_put_to_bills_than_was_paid(invoice):
    payment = Payment.objects.get()
    rows(Allocation, payment=payment).update(amount_cents=2_001)

    assert faults() == [
        f"Payment {payment.pk} of 2000 cents has 2001 put to invoices.",
        "Corner Grocery has -1 cents on account.",
        "F26-00001 has 3999 cents to pay, and says 4000.",
    ]


def test_a_payment_put_to_anothers_bill(invoice):
    other = builders.customer("Harvest Table")
    payment = pay(other, 500)
    Allocation.objects.create(payment=payment, invoice=invoice, amount_cents=500)

    assert f"Payment {payment.pk} is put to another's invoice F26-00001." in faults()


def test_an_open_amount_that_is_not_what_is_left(invoice):
    Invoice.objects.update(open_cents=3_999)

    assert faults() == ["F26-00001 has 4000 cents to pay, and says 3999."]


@pytest.mark.usefixtures("without_triggers")
def test_a_credit_note_that_does_not_undo_its_invoice(invoice, owner, key):
    note = credit_notes.credit(invoice=invoice, issued_by=owner, key=key(), reason="Leaked")
    Invoice.objects.filter(pk=note.pk).update(total_cents=-5_999, net_cents=-5_999)

    assert faults() == [
        "C26-00001 is entered at -6000 cents, not -5999.",
        "C26-00001 says -5999 + 0 = -5999 cents, its lines -6000 + 0.",
        "F26-00001 has 1 cents to pay, and says 0.",
    ]


@pytest.mark.usefixtures("without_triggers")
def test_goods_on_two_bills(invoice, shop, pounds):
    other = invoice_of(shop, jars(pounds, 10, "6.00"))
    good = invoice.lines.get().fulfilment_line
    other.lines.update(fulfilment_line=good)

    assert f"Goods handed over ({good.pk}) are on 2 invoices." in faults()
    assert f"{good} is billed at 12000 cents, and says 6000." in faults()


@pytest.mark.usefixtures("without_triggers")
def test_a_number_that_is_missing(invoice, shop, pounds):
    later = invoice_of(shop, jars(pounds, 1))
    Invoice.objects.filter(pk=later.pk).update(number=4)

    assert faults() == ["Series F26 misses F26-00002, F26-00003."]


@pytest.mark.usefixtures("without_triggers")
def test_a_reversal_of_another_amount(invoice, owner, key):
    payment = Payment.objects.get()
    undo = payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")
    Payment.objects.filter(pk=undo.pk).update(amount_cents=-1_999)

    assert f"Payment {undo.pk} does not undo payment {payment.pk} exactly." in faults()


def test_an_entry_that_does_not_balance_is_not_written(invoice, shop):
    before = EntryLine.objects.count()

    with pytest.raises(book.BookLawBroken):
        book.enter(
            kind=Entry.Kind.INVOICE,
            lines=[book.BookLine("receivable", 100, shop), book.BookLine("sales", -99)],
            happened_on=TODAY,
            invoice=invoice,
        )

    assert EntryLine.objects.count() == before


def test_no_bill_is_paid_beyond_what_is_open(invoice):
    with pytest.raises(book.BookLawBroken):
        book.settle(Payment.objects.get(), [(invoice, 4_001)])

    assert faults() == []


@pytest.mark.parametrize(
    ("change", "law"),
    [
        ({"open_cents": 6_001}, "invoice_open_between_0_and_total"),
        ({"open_cents": -1}, "invoice_open_between_0_and_total"),
        ({"tax_cents": 1}, "invoice_total_is_net_tax_and_rounding"),
    ],
)
@pytest.mark.usefixtures("without_triggers")
def test_the_database_itself_refuses_a_broken_bill(invoice, change, law):
    with pytest.raises(IntegrityError, match=law), transaction.atomic():
        Invoice.objects.update(**change)


def test_entries_are_never_changed(invoice):
    with pytest.raises(TypeError):
        EntryLine.objects.update(amount_cents=1)
    with pytest.raises(TypeError):
        Allocation.objects.all().delete()


@pytest.mark.parametrize(
    "name", ["billing_invoice", "billing_payment", "billing_entry", "customers_customerbalance"]
)
def test_the_back_office_shows_the_book_and_changes_nothing(client, invoice, name):
    client.force_login(builders.person("owner"))
    first = {
        "billing_invoice": invoice,
        "billing_payment": Payment.objects.get(),
        "billing_entry": invoice.entry,
        "customers_customerbalance": CustomerBalance.objects.get(),
    }[name]

    assert client.get(reverse(f"admin:{name}_changelist")).status_code == 200
    assert client.get(reverse(f"admin:{name}_change", args=[first.pk])).status_code == 200
    assert client.get(reverse(f"admin:{name}_add")).status_code == 403
    assert client.post(reverse(f"admin:{name}_delete", args=[first.pk])).status_code == 403

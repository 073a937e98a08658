"""Certificates that came after the goods were billed with tax."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.billing.models import Invoice, LateCertificate
from apiary_sales.billing.queries import tax_return
from apiary_sales.billing.queries.books import faults
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import corrected_invoices, credit_notes, late_certificates
from apiary_sales.customers.models import CustomerBalance
from inventory.shared.errors import AlreadyRecorded, BadValue, FiguresChanged, NotAllowedNow
from tests import builders
from tests.billing.conftest import TODAY, invoice_of, jars, pay, words_of

DAY = timedelta(days=1)


@pytest.fixture
def billed(shop, pounds, honey_tax):
    """60.00 at 6.25 % is 3.75 of tax."""
    return invoice_of(shop, jars(pounds, 10, "6.00"))


@pytest.fixture
def late(shop, billed):
    return builders.certificate(shop, "IA-9", valid_from=TODAY + DAY)


def accept(certificate, invoice, **more):
    given = {"note": "within 90 days", "key": "late"}
    return late_certificates.accept(
        certificate=certificate, invoice=invoice, accepted_by=builders.person(), **(given | more)
    )


def test_a_certificate_that_came_later_takes_the_tax_off_an_invoice(shop, billed, late):
    pay(shop, 6_375)

    made = accept(late, billed, expected_total_cents=6_000)

    copy = made.copy
    assert (copy.corrects, copy.tax_cents, copy.total_cents) == (billed, 0, 6_000)
    line = copy.lines.get()
    assert (line.tax_category, line.exemption_reason, line.certificate) == ("E", "resale", late)
    [note] = billed.credit_notes.all()
    assert (note.tax_cents, note.total_cents) == (-375, -6_375)
    assert "Certificate IA-9 was accepted later: within 90 days" in note.note
    # What was paid is put to the copy; 3.75 stays on the customer's account.
    copy.refresh_from_db()
    assert copy.open_cents == 0
    assert CustomerBalance.objects.owed_cents(shop) == -375
    found = tax_return.of_period(date(2026, 9, 1), TODAY)
    assert (found.taxable_cents, found.tax_cents, found.difference_cents) == (0, 0, 0)
    assert list(faults()) == []


def test_it_is_accepted_once_and_said_by_whom(billed, late):
    made = accept(late, billed)

    assert (made.accepted_by, made.note) == (builders.person(), "within 90 days")
    assert list(late_certificates.taxed_before(late)) == []
    with pytest.raises(AlreadyRecorded):
        accept(late, billed)
    with pytest.raises(NotAllowedNow):
        accept(late, billed, key="again")
    assert Invoice.objects.count() == 3


def test_why_the_law_allows_it_must_be_said(billed, late):
    with pytest.raises(BadValue) as refused:
        accept(late, billed, note=" ")

    assert refused.value.parameter == "note"
    assert not LateCertificate.objects.exists()
    assert Invoice.objects.count() == 1


def test_another_total_than_was_shown_changes_nothing(billed, late):
    with pytest.raises(FiguresChanged):
        accept(late, billed, expected_total_cents=5_999)

    assert Invoice.objects.count() == 1


@pytest.mark.parametrize("days", [-1, 0])
def test_goods_after_the_last_day_stay_taxed(shop, billed, days):
    certificate = builders.certificate(shop, "old", expires=TODAY + days * DAY)

    assert list(late_certificates.taxed_before(certificate)) == ([billed] if days == 0 else [])


def test_what_a_credit_note_left_of_an_invoice_is_corrected_and_its_copy_freed(
    client, billed, late, owner, key
):
    """4 of 10 jars are credited: 6 at 6.00 are left, 36.00 and 2.25 of tax."""
    part = LineCredit(billed.lines.get(), quantity=Decimal(4))
    credit_notes.credit(invoice=billed, lines=[part], reason="Broken", issued_by=owner, key=key())
    client.force_login(builders.person("owner"))
    correct = reverse("billing:invoice_correct", args=[billed.pk])
    for name, args in (
        ("late_certificate", [late.pk]),
        ("late_certificate_accept", [late.pk, billed.pk]),
    ):
        assert correct in client.get(reverse(f"billing:{name}", args=args)).text

    with pytest.raises(NotAllowedNow) as refused:
        accept(late, billed)
    assert str(refused.value) == (
        f"Invoice {billed} has a credit note, so certificate IA-9 can't free it. Correct the "
        "invoice: the copy bills what is left of it. If the copy still has tax, let the "
        "certificate count for the copy."
    )
    copy = corrected_invoices.correct(invoice=billed, issued_by=owner, key=key(), reason="IA-9")
    made = accept(late, copy)

    assert (copy.net_cents, copy.tax_cents) == (3_600, 225)
    assert (made.copy.net_cents, made.copy.tax_cents) == (3_600, 0)
    assert list(faults()) == []


def test_a_certificate_of_the_day_frees_the_corrected_copy_at_once(shop, billed, owner, key):
    part = LineCredit(billed.lines.get(), quantity=Decimal(4))
    credit_notes.credit(invoice=billed, lines=[part], reason="Broken", issued_by=owner, key=key())
    builders.certificate(shop, "IA-8", valid_from=TODAY)

    copy = corrected_invoices.correct(invoice=billed, issued_by=owner, key=key(), reason="IA-8")

    assert (copy.net_cents, copy.tax_cents) == (3_600, 0)


def test_an_invoice_credited_in_full_has_nothing_to_free(billed, late, owner, key):
    credit_notes.credit(invoice=billed, reason="Broken", issued_by=owner, key=key())

    assert list(late_certificates.partly_credited_before(late)) == []
    with pytest.raises(NotAllowedNow, match="and without a credit note"):
        accept(late, billed)


def test_the_invoice_of_another_customer_stays_taxed(billed):
    other = builders.certificate(builders.customer("Mill"), "X")

    with pytest.raises(NotAllowedNow, match="can't free invoice"):
        accept(other, billed)


def test_the_owner_lets_it_count_from_its_page(client, billed, late):
    client.force_login(builders.person("owner"))
    address = reverse("billing:late_certificate_accept", args=[late.pk, billed.pk])

    listed = client.get(reverse("billing:late_certificate", args=[late.pk])).text
    shown = client.get(address)
    form = {"key": "k", "note": "within 90 days", "expected_total_cents": "6000"}
    done = client.post(address, form, follow=True)

    assert address in listed
    assert "Credit it and issue the copy for $60.00" in words_of(shown.text)
    assert "bills $60.00 without its tax." in words_of(done.text)
    assert LateCertificate.objects.get().invoice == billed
    assert "This certificate can't free this invoice" in words_of(client.get(address).text)


def test_the_office_sees_it_and_may_not_accept_it(client, billed, late):
    client.force_login(builders.person("office"))
    address = reverse("billing:late_certificate_accept", args=[late.pk, billed.pk])

    assert str(billed) in client.get(reverse("billing:late_certificate", args=[late.pk])).text
    assert client.post(address, {"key": "k", "note": "x"}).status_code == 403
    assert not LateCertificate.objects.exists()

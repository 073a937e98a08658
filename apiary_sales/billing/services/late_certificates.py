"""Certificates that came after the goods were billed with tax."""

from django.db import transaction
from django.db.models import F, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, LateCertificate
from apiary_sales.billing.services import corrected_invoices
from apiary_sales.customers.models import ExemptionCertificate
from apiary_sales.orders.services import orders
from inventory.shared import keys
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

__all__ = ["accept", "partly_credited_before", "taxed_before"]


def taxed_before(certificate: ExemptionCertificate) -> QuerySet[Invoice]:
    """Return the invoices with tax that a certificate may free: none is credited or corrected.

    They are of its customer, for goods handed over no later than its last day.
    """
    return _taxed(certificate).filter(credit_notes=None)


def partly_credited_before(certificate: ExemptionCertificate) -> QuerySet[Invoice]:
    """Return the invoices of which credit notes took off only a part of the tax.

    A certificate can free what is left of one once a corrected copy bills that alone.
    """
    return (
        _taxed(certificate)
        .annotate(credited_tax_cents=Sum("credit_notes__tax_cents"))
        .filter(credited_tax_cents__isnull=False)
        .filter(tax_cents__gt=-F("credited_tax_cents"))
    )


def _taxed(certificate: ExemptionCertificate) -> QuerySet[Invoice]:
    found = Invoice.objects.filter(
        customer=certificate.customer_id,
        tax_cents__gt=0,
        credits=None,
        corrected_by__corrects=None,
        order__isnull=False,
    ).exclude(series__startswith=Invoice.RECEIPT_PREFIX)
    if certificate.expires is not None:
        found = found.filter(supplied_on__lte=certificate.expires)
    return found.select_related("order", "customer").order_by("supplied_on", "id")


@transaction.atomic
def accept(
    *,
    certificate: ExemptionCertificate,
    invoice: Invoice,
    note: str,
    accepted_by: Person,
    key: str,
    expected_total_cents: int | None = None,
) -> LateCertificate:
    """Free an invoice from its tax by a certificate that came later; return what was accepted.

    The invoice is credited and a corrected copy without the tax is issued, both today: the tax
    goes back in the period of today. What was paid is put to the copy; the rest stays on the
    customer's account. `note` says why the law allows it. Raises `NotAllowedNow` for an invoice
    that the certificate can't free, `BadValue` without a note, `FiguresChanged`,
    `AlreadyRecorded`.
    """
    if invoice.order:
        orders.lock(invoice.order)
    refuse_repeat(LateCertificate, key)
    if not note.strip():
        raise BadValue(
            _("Say why the law allows the certificate to count for goods handed over before."),
            parameter="note",
        )
    # Read again, as it is now that its order is locked.
    taxed = taxed_before(certificate).filter(pk=invoice.pk).first()
    if taxed is None and partly_credited_before(certificate).filter(pk=invoice.pk).exists():
        raise NotAllowedNow(
            _(
                "Invoice %(invoice)s has a credit note, so certificate %(number)s can't free it. "
                "Correct the invoice: the copy bills what is left of it. If the copy still has "
                "tax, let the certificate count for the copy."
            )
            % {"invoice": invoice, "number": certificate.number}
        )
    if taxed is None:
        raise NotAllowedNow(
            _(
                "The certificate %(number)s can't free invoice %(invoice)s from tax. It must be an "
                "invoice with tax of the same customer, for goods handed over up to the last day "
                "of the certificate, and without a credit note."
            )
            % {"number": certificate.number, "invoice": invoice}
        )
    copy = corrected_invoices.correct(
        invoice=taxed,
        issued_by=accepted_by,
        key=keys.part(key, "copy"),
        reason=_("Certificate %(number)s was accepted later: %(note)s")
        % {"number": certificate.number, "note": note.strip()},
        certificate=certificate,
        expected_total_cents=expected_total_cents,
    )
    return LateCertificate.objects.create(
        certificate=certificate,
        invoice=taxed,
        copy=copy,
        note=note.strip(),
        accepted_by=accepted_by,
        idempotency_key=key,
    )

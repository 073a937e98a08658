"""Invoices, credit notes, receipts, pro-formas and statements as papers, and their PDF.

The same context feeds the page and the paper, so that they never disagree. A paper is written in
the language that was fixed when it was issued, whatever language its reader has.
"""

from datetime import date, datetime
from typing import Any

from django.utils import timezone, translation
from django.utils.translation import gettext as _

from apiary_sales.billing import rules
from apiary_sales.billing.models import DepositSlip, Invoice, InvoiceLine, Payment
from apiary_sales.billing.queries import money, receipts, statements
from apiary_sales.billing.services import invoices, payments
from apiary_sales.customers.models import Customer
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.models import Fulfilment, FulfilmentLine, Order, OrderLine
from inventory.shared import conventions, documents, printed_codes, public_address
from inventory.shared.models import House
from inventory.stock.models import Seal

# Five dots of a receipt printer, which has 8 a millimetre (203 dpi).
QR_MODULE_MM = 0.625


def invoice_template(invoice: Invoice) -> str:
    return f"documents/{'credit_note' if invoice.is_credit_note else 'invoice'}.html"


def invoice_context(invoice: Invoice) -> dict[str, Any]:
    """Return what the page and the paper of an invoice or credit note show, as it stands now."""
    invoice.refresh_from_db(fields=["open_cents"])
    lines = list(
        invoice.lines.select_related(
            "fulfilment_line__weighing", "fulfilment_line__order_line"
        ).prefetch_related("taxes")
    )
    settled = money.settled_by(invoice)
    notes = list(invoice.credit_notes.order_by("id"))
    is_credited = bool(notes) and -sum(note.total_cents for note in notes) == invoice.total_cents
    return {
        "invoice": invoice,
        "lines": lines,
        "taxes": _taxes_of(lines),
        "settled": settled,
        "paid_cents": sum(share.cents for share in settled),
        "adjusted": money.adjusted_by(invoice),
        "discount_cents": invoice.discount_cents,
        "credit_notes": notes,
        "is_credited": is_credited,
        "across": _("Credited") if is_credited else "",
        "has_bulk": any(_may_be_a_drum(line) for line in lines),
        # The address as it was on the day the bill was issued.
        "house": invoice.seller,
    }


def _taxes_of(lines: list[InvoiceLine]) -> list[rules.TaxSum]:
    return rules.taxes_of(lines, [row for line in lines for row in line.taxes.all()])


def _may_be_a_drum(line: InvoiceLine) -> bool:
    if line.fulfilment_line is None:
        return False
    sold = line.fulfilment_line.order_line
    return sold.kind == OrderLine.Kind.HONEY and not sold.is_drawn


def receipt_context(receipt: Invoice, site: str | None = None) -> dict[str, Any]:
    """Return what the page and the paper of a stand receipt show.

    `site` is how its public address begins: the house's own unless told, empty for none.
    """
    lines = list(
        receipt.lines.select_related(
            "fulfilment_line__weighing", "fulfilment_line__order_line"
        ).prefetch_related("taxes")
    )
    facts = receipts.facts_of(receipt)
    site = public_address.beginning() if site is None else site
    read_url = f"{site}{facts.path}" if site and facts.path else ""
    return {
        "receipt": receipt,
        "lines": lines,
        "taxes": _taxes_of(lines),
        "facts": facts,
        "undone_by": facts.undone_by,
        "across": _("Cancelled") if facts.undone_by else "",
        "house": receipt.seller,
        "read_url": read_url,
        "code": printed_codes.qr(read_url, modules_mm=[QR_MODULE_MM])[0] if read_url else None,
    }


def statement_context(
    customer: Customer, since: date, until: date, known_at: datetime | None = None
) -> dict[str, Any]:
    """Return what the page and the paper of a customer's statement show.

    With `known_at`, as it was known at that moment.
    """
    return {
        "statement": statements.statement(customer, since, until, known_at),
        "known_at": known_at,
        "is_today": until == timezone.localdate() and known_at is None,
        "seal": Seal.objects.newest(known_at),
    }


def payment_context(payment: Payment) -> dict[str, Any]:
    """Return what the page and the receipt of a payment show: what it paid, and what is left."""
    put_to = payments.put_to(payment)
    used_cents = sum(cents for _invoice, cents in put_to)
    undone_by = Payment.objects.filter(reverses=payment).first()
    return {
        "payment": payment,
        "put_to": put_to,
        "used_cents": used_cents,
        "left_cents": payment.amount_cents - used_cents,
        "undone_by": undone_by,
        "across": _("Undone") if undone_by else "",
    }


def pro_forma_context(order: Order) -> dict[str, Any]:
    """Return what a pro-forma shows: the invoice of the whole order, as it would be today."""
    handed_over = Fulfilment(order=order, filled_on=timezone.localdate())
    goods = [
        FulfilmentLine(
            fulfilment=handed_over,
            order_line=line,
            lot=line.lot,
            quantity=line.quantity,
            amount_cents=line.amount_cents,
        )
        for line in order.lines.select_related("product", "drum", "lot", "service")
    ]
    draft = invoices.compose(order, [(good, invoices.line_of(good)) for good in goods])
    return {
        "order": order,
        "is_quote": order.status == Order.Status.QUOTED,
        "invoice": draft.invoice,
        "lines": draft.lines,
        "taxes": draft.tax_sums,
        "across": order_papers.across(order),
    }


def has_pro_forma(order: Order) -> bool:
    """Tell whether a pro-forma can be written: not for what is paid at once."""
    return order.customer is not None and order.channel not in Order.AT_ONCE


def deposit_slip_context(slip: DepositSlip) -> dict[str, Any]:
    """Return what the page and the paper of a deposit slip show."""
    checks = [
        each.payment for each in slip.checks.select_related("payment__customer").order_by("id")
    ]
    return {
        "slip": slip,
        "checks": checks,
        "checks_cents": sum(payment.face_cents for payment in checks),
    }


def invoice(invoice: Invoice) -> bytes:
    """Return an invoice or credit note as PDF; raises `PdfUnavailable`."""
    with translation.override(invoice.language), conventions.in_currency(invoice.currency):
        return documents.render_pdf(invoice_template(invoice), invoice_context(invoice))


def receipt(receipt: Invoice, paper: str = "", site: str | None = None) -> bytes:
    """Return a stand receipt as PDF, on this `House.ReceiptPaper` or the one the house uses.

    `site` is that of `receipt_context`.
    """
    paper = paper or House.current().receipt_paper
    with translation.override(receipt.language), conventions.in_currency(receipt.currency):
        context = receipt_context(receipt, site)
        if paper == House.ReceiptPaper.PAGE:
            return documents.render_pdf("documents/receipt.html", context)
        return documents.render_roll("documents/receipt_roll.html", context, paper=paper)


def payment(payment: Payment) -> bytes:
    """Return the receipt for a payment as PDF; raises `PdfUnavailable`."""
    customer = payment.customer
    with translation.override(
        customer.paper_language if customer else conventions.current().language
    ):
        return documents.render_pdf("documents/payment_receipt.html", payment_context(payment))


def pro_forma(order: Order) -> bytes:
    """Return a pro-forma as PDF, which has no number of an invoice; raises `PdfUnavailable`."""
    with translation.override(order.paper_language):
        return documents.render_pdf("documents/pro_forma.html", pro_forma_context(order))


def statement(
    customer: Customer, since: date, until: date, known_at: datetime | None = None
) -> bytes:
    """Return a customer's statement as PDF; raises `PdfUnavailable`."""
    with translation.override(customer.paper_language):
        context = statement_context(customer, since, until, known_at)
        return documents.render_pdf("documents/statement.html", context)

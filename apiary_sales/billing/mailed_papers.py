"""Which papers about money can be sent by e-mail."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from inventory.shared import mailable, words


def register() -> None:
    """Register them; called once, when the app is ready."""
    from apiary_sales.billing import papers, structured_invoices
    from apiary_sales.billing.queries import receipts

    of_invoice: dict[str, Any] = {
        "permission": "billing.issue_invoices",
        # With its data where the customer gets it; then it is refused while some is missing.
        "pdf": lambda invoice, details: structured_invoices.paper(invoice),
        "beside": structured_invoices.beside,
        "number": str,
        "customer": lambda invoice: invoice.customer,
        "page": lambda invoice: reverse("billing:invoice_detail", args=[invoice.pk]),
        "language": lambda invoice: invoice.language,
        "figures": _figures,
        "figure_names": ("total", "due", "left"),
    }
    mailable.register(
        "invoice", "billing.Invoice", title=_("Invoice"), is_for=_is_invoice, **of_invoice
    )
    mailable.register(
        "credit-note",
        "billing.Invoice",
        title=_("Credit note"),
        is_for=lambda invoice: invoice.is_credit_note,
        **of_invoice | {"figures": _total, "figure_names": ("total",)},
    )
    mailable.register(
        "receipt",
        "billing.Invoice",
        title=_("Receipt"),
        permission="orders.sell_at_stand",
        own_words="billing.issue_invoices",
        seen_by=receipts.seen_by,
        pdf=lambda invoice, details: papers.receipt(invoice),
        number=str,
        customer=lambda invoice: invoice.customer,
        page=lambda invoice: reverse("billing:receipt", args=[invoice.pk]),
        language=lambda invoice: invoice.language,
        is_for=lambda invoice: invoice.is_receipt and not invoice.is_credit_note,
        figures=_total,
        figure_names=("total",),
        address_note=_(
            "Ask the buyer for the address. It is used for this receipt only, and kept with this "
            "e-mail in the list of e-mails."
        ),
    )
    mailable.register(
        "statement",
        "customers.Customer",
        title=_("Statement"),
        permission="billing.issue_invoices",
        pdf=lambda customer, details: papers.statement(
            customer, date.fromisoformat(details["since"]), date.fromisoformat(details["until"])
        ),
        number=lambda customer: customer.name,
        customer=lambda customer: customer,
        page=lambda customer: reverse("billing:statement", args=[customer.pk]),
        details=_days,
    )


def _is_invoice(invoice: Any) -> bool:
    # An invoice written before the books began was sent on its own paper.
    return not (invoice.is_credit_note or invoice.is_receipt or invoice.opening_number)


def _total(invoice: Any) -> dict[str, str]:
    return {"total": words.money(invoice.total_cents)}


def _figures(invoice: Any) -> dict[str, str]:
    return {
        "total": words.money(invoice.total_cents),
        "left": words.money(invoice.open_cents),
        "due": date_format(invoice.due_on, "DATE_FORMAT"),
    }


def _days(given: Mapping[str, Any]) -> dict[str, str]:
    from apiary_sales.billing.forms.money import StatementForm

    since, until = StatementForm(given).days()
    return {"since": since.isoformat(), "until": until.isoformat()}

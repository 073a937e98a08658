"""Money owed and received: the first page, invoices, payments, statements."""

from itertools import chain
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.billing import papers, rules, structured_invoices
from apiary_sales.billing.forms.money import (
    HouseDetailsForm,
    InvoiceFilterForm,
    IssueForm,
    PayBackForm,
    StatementForm,
    UndoPaymentForm,
)
from apiary_sales.billing.forms.payment_filter import PaymentFilterForm
from apiary_sales.billing.models import BouncedCheck, DepositSlip, Invoice, Payment
from apiary_sales.billing.queries import money
from apiary_sales.billing.services import corrected_invoices, credit_notes, invoices, payments
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from inventory.shared import documents, words
from inventory.shared.errors import HouseError
from inventory.shared.htmx import HtmxRequest
from inventory.shared.models import House
from inventory.shared.paging import page_of
from inventory.shared.people import person_of
from inventory.shared.services import house as house_details
from inventory.shared.views import ActView

SEE = "billing.view_money"
ISSUE = "billing.issue_invoices"
TAKE = "billing.take_payments"
PAGE_LENGTH = 50


@require_GET
@permission_required(SEE, raise_exception=True)
def overview(request: HttpRequest) -> HttpResponse:
    """Answer: who owes what, what is overdue, what is still to be invoiced."""
    today = timezone.localdate()
    context = {
        "today": today,
        "owing": money.owing(today),
        "counts": money.counts(today),
        "month": money.month_of(today),
        "overdue": money.overdue_invoices(today)[:10],
        "to_invoice": money.orders_to_invoice(),
        "received": money.payments_list()[:5],
    }
    return render(request, "billing/money.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def invoice_list(request: HttpRequest) -> HttpResponse:
    form = InvoiceFilterForm(request.GET)
    form.is_valid()
    today = timezone.localdate()
    found = money.invoices(**_filters(form), on=today)
    page = Paginator(found, PAGE_LENGTH).get_page(request.GET.get("page"))
    rows = money.with_states(page, on=today)
    return render(
        request, "billing/invoice_list.html", {"form": form, "page_obj": page, "rows": rows}
    )


def _filters(form: InvoiceFilterForm) -> dict[str, Any]:
    return {name: form.cleaned_data[name] for name in form.fields if name in form.cleaned_data}


@require_GET
@permission_required(SEE, raise_exception=True)
def invoice_detail(request: HttpRequest, pk: int) -> HttpResponse:
    invoice = invoice_or_404(pk)
    context = papers.invoice_context(invoice)
    context["drums_on_deposit"] = credit_notes.drums_on_deposit(invoice)
    if invoice.customer and (invoice.open_cents or invoice.is_credit_note):
        account = money.account_of(invoice.customer, timezone.localdate())
        context["on_account_cents"] = max(0, account.on_account_cents)
    context["state"] = money.state_tag(
        invoice,
        on=timezone.localdate(),
        credited_cents=-sum(note.total_cents for note in context["credit_notes"]),
    )
    context["data_missing"] = structured_invoices.missing(invoice)
    if invoice.is_credit_note:
        context["to_refund_cents"] = payments.to_refund_cents(invoice)
    context["may_be_corrected"] = corrected_invoices.may_be_corrected(invoice)
    # The page belongs to the house of today; the paper keeps the house of its day.
    del context["house"]
    return render(request, "billing/invoice_detail.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def invoice_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    invoice = invoice_or_404(pk)
    if invoice.is_opening:
        # Its paper was printed before the books began.
        return redirect("billing:invoice_detail", pk=pk)
    name = (
        _("Credit note %(number)s.pdf") if invoice.is_credit_note else _("Invoice %(number)s.pdf")
    )
    return documents.answer(
        request, name=name % {"number": invoice}, make=lambda: papers.invoice(invoice)
    )


def invoice_or_404(pk: int) -> Invoice:
    """Return a bill with what its pages show of it, or answer that there is none."""
    found = Invoice.objects.select_related("customer", "order", "credits", "issued_by")
    return get_object_or_404(found, pk=pk)


class IssueView(ActView):
    """Show the invoice an order would get, then issue it."""

    permission_required = ISSUE
    form_class = IssueForm
    template_name = "billing/invoice_create.html"

    def prepare(self) -> None:
        orders = Order.objects.select_related("customer")
        self.order = get_object_or_404(orders, number=self.kwargs["number"])

    def act(self, data: dict[str, Any]) -> Invoice:
        return invoices.issue(
            order=self.order,
            issued_by=person_of(self.request),
            key=data["key"],
            expected_total_cents=data["expected_total_cents"],
        )

    def done_message(self, made: Invoice) -> str:
        return _("Invoice %(invoice)s issued for %(total)s.") % {
            "invoice": made,
            "total": words.money(made.total_cents),
        }

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:invoice_detail", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        draft = invoices.draft(self.order)
        return {
            **super().get_context_data(**kwargs),
            "order": self.order,
            "draft": draft.invoice if draft else None,
            "lines": draft.lines if draft else [],
            "taxes": rules.taxes_of(draft.lines, chain(*draft.taxes)) if draft else [],
            "issued": self.order.invoices.order_by("id"),
        }


@require_POST
@permission_required(TAKE, raise_exception=True)
def use_on_account(request: HttpRequest, pk: int) -> HttpResponse:
    """Put money on the customer's account to one invoice."""
    invoice = get_object_or_404(Invoice.objects.select_related("customer"), pk=pk)
    try:
        used_cents = payments.use_on_account(invoice=invoice)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request,
            _("%(used)s of the money on account was used for invoice %(invoice)s.")
            % {"used": words.money(used_cents), "invoice": invoice},
        )
    return redirect("billing:invoice_detail", pk=pk)


@require_GET
@permission_required(SEE, raise_exception=True)
def payment_list(request: HttpRequest) -> HttpResponse:
    form = PaymentFilterForm(request.GET)
    asked = form.asked()
    context = {
        "form": form,
        "page_obj": page_of(request, money.payments_list(**asked)),
        "is_filtered": bool(asked),
    }
    return render(request, "billing/payment_list.html", context)


class MoneyBackView(ActView):
    """An act that gives money back; `how` is what its form says of the way it was given."""

    permission_required = TAKE

    def how(self, data: dict[str, Any]) -> dict[str, Any]:
        return {
            "amount_cents": data["amount"],
            "method": data["method"],
            "paid_on": data["received_on"],
            "reference": data["reference"],
            "paid_by": person_of(self.request),
            "key": data["key"],
        }

    def done_message(self, made: Payment) -> str:
        return _("%(amount)s given back to %(customer)s.") % {
            "amount": words.money(-made.amount_cents),
            "customer": made.customer,
        }

    def next_url(self, made: Payment) -> str:
        return reverse("billing:payment_detail", args=[made.pk])

    repeat_url = next_url


class PayBackView(MoneyBackView):
    """Give money on a customer's account back to them."""

    permission_required = TAKE
    form_class = PayBackForm
    template_name = "billing/pay_back.html"

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])
        self.there_cents = payments.on_account_cents(self.customer)

    def get_initial(self) -> dict[str, Any]:
        return {"amount": self.there_cents}

    def act(self, data: dict[str, Any]) -> Payment:
        return payments.pay_back(customer=self.customer, **self.how(data))

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "customer": self.customer,
            "there_cents": self.there_cents,
        }


@require_GET
@permission_required(SEE, raise_exception=True)
def payment_detail(request: HttpRequest, pk: int) -> HttpResponse:
    payment = _payment(pk)
    context = papers.payment_context(payment) | {
        "bounced": BouncedCheck.objects.filter(payment=payment).first(),
        "slip": DepositSlip.objects.filter(checks__payment=payment, undone_on=None).first(),
        "adjustments": payment.adjustments.filter(reversed_by__reverses=None).select_related(
            "invoice"
        ),
    }
    return render(request, "billing/payment_detail.html", context)


def _payment(pk: int) -> Payment:
    found = Payment.objects.select_related(
        "customer", "received_by", "reverses", "order", "refunds"
    )
    return get_object_or_404(found, pk=pk)


class UndoPaymentView(ActView):
    """Undo a payment: a check bounced, or it was recorded wrongly."""

    permission_required = TAKE
    form_class = UndoPaymentForm
    template_name = "billing/payment_undo.html"

    def prepare(self) -> None:
        self.payment = _payment(self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> Payment:
        return payments.reverse(
            payment=self.payment,
            reversed_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Payment) -> str:
        if made.amount_cents > 0:
            sentence = _("The %(amount)s that was given back is on account again.")
        else:
            sentence = _("The payment of %(amount)s is undone. The amount it paid is owed again.")
        return sentence % {"amount": words.money(abs(made.amount_cents))}

    def next_url(self, made: Payment) -> str:
        return reverse("billing:payment_detail", args=[self.payment.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "payment": self.payment,
            "put_to": payments.put_to(self.payment),
        }


@require_GET
@permission_required(SEE, raise_exception=True)
def statement(request: HttpRequest, pk: int) -> HttpResponse:
    context = _statement_context(request, pk)
    return render(request, "billing/statement.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def statement_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    asked = StatementForm(request.GET)
    since, until = asked.days()
    customer = get_object_or_404(Customer, pk=pk)
    name = _("Statement %(customer)s %(day)s.pdf") % {
        "customer": customer,
        "day": until.isoformat(),
    }
    return documents.answer(
        request,
        name=name,
        make=lambda: papers.statement(customer, since, until, asked.known_at()),
    )


def _statement_context(request: HttpRequest, pk: int) -> dict[str, Any]:
    asked = StatementForm(request.GET)
    since, until = asked.days()
    customer = get_object_or_404(Customer, pk=pk)
    known_on = asked.cleaned_data.get("known_on") if asked.is_valid() else None
    form = StatementForm(initial={"since": since, "until": until, "known_on": known_on})
    context = papers.statement_context(customer, since, until, asked.known_at())
    days = {"since": since, "until": until, "known_on": known_on or ""}
    return {"form": form, "same_days": urlencode(days), **context}


@require_GET
@permission_required(SEE, raise_exception=True)
def customer_account(request: HtmxRequest, pk: int) -> HttpResponse:
    """Return the account of one customer as a part of another page; alone, show the statement."""
    if not request.htmx:
        return redirect("billing:statement", pk=pk)
    customer = get_object_or_404(Customer, pk=pk)
    today = timezone.localdate()
    context = {
        "customer": customer,
        "account": money.account_of(customer, today),
        "invoices": Invoice.objects.open_of(customer).select_related("order")[:10],
        "today": today,
    }
    return render(request, "billing/_customer_account.html", context)


class HouseDetailsView(ActView):
    """Change the details of the house, as printed on every paper."""

    permission_required = ISSUE
    form_class = HouseDetailsForm
    template_name = "billing/settings.html"

    def edited(self) -> House:
        return House.current()

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"instance": House.current()}

    def act(self, data: dict[str, Any]) -> House:
        return house_details.change(**data)

    def done_message(self, made: House) -> str:
        return _("Saved. Papers show it from now on.")

    def next_url(self, made: House) -> str:
        return reverse("billing:settings")

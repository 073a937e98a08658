"""Money received: put to invoices, kept for an order, given back; and what will not be paid."""

from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.billing.forms.money import CustomerChoiceForm
from apiary_sales.billing.forms.payments import (
    CHOSEN,
    FOR_ORDER,
    AdjustForm,
    CheckBounceForm,
    InterestForm,
    PaymentForm,
    RefundForm,
    UndoReasonForm,
)
from apiary_sales.billing.models import Adjustment, BouncedCheck, Invoice, Payment
from apiary_sales.billing.queries import money
from apiary_sales.billing.services import (
    adjustments,
    bounced_checks,
    interest,
    opening,
    payments,
)
from apiary_sales.billing.views.money import MoneyBackView
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.htmx import HtmxRequest
from inventory.shared.models import House
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView

SEE = "billing.view_money"
ISSUE = "billing.issue_invoices"
TAKE = "billing.take_payments"


class PaymentView(ActView):
    """Record money from a customer. Without a customer in the address, ask who paid first."""

    permission_required = TAKE
    form_class = PaymentForm
    template_name = "billing/payment_create.html"

    def prepare(self) -> None:
        self.invoice = self._asked_for(Invoice, "invoice")
        self.order = None
        if number := self.request.GET.get("order", "").replace("\x00", ""):
            self.order = get_object_or_404(Order, number=number, customer__isnull=False)
        if self.invoice:
            self.customer = self.invoice.customer
        elif self.order:
            self.customer = self.order.customer
        else:
            self.customer = self._asked_for(Customer, "customer")
        self.who_form = CustomerChoiceForm(
            self.request.GET if "customer_name" in self.request.GET else None
        )
        if self.customer is None and self.who_form.is_valid():
            self.customer = self.who_form.cleaned_data["customer"]

    def _asked_for(self, model, name: str):
        asked = self.request.GET.get(name, "")
        return get_object_or_404(model, pk=row_key(asked)) if asked else None

    def get(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if self.customer is None:
            owing = money.owing(timezone.localdate())
            context = {"form": self.who_form, "owing": owing}
            return render(request, "billing/payment_who.html", context)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if self.customer is None:
            return HttpResponseRedirect(request.path)
        return super().post(request, *args, **kwargs)

    def get_form_kwargs(self) -> dict[str, Any]:
        open_invoices = Invoice.objects.open_of(self.customer)
        return {
            **super().get_form_kwargs(),
            "open_invoices": open_invoices,
            "order": self.order,
        }

    def get_initial(self) -> dict[str, Any]:
        if self.order is not None:
            return {"allocations": FOR_ORDER}
        if self.invoice is None or not self.invoice.open_cents:
            return {}
        return {
            "amount": self.invoice.open_cents,
            "allocations": CHOSEN,
            f"take_{self.invoice.pk}": True,
        }

    def form_valid(self, form: PaymentForm) -> HttpResponse:
        self.shares = form.shares()
        self.is_for_order = form.is_for_order()
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Payment:
        return payments.receive(
            customer=self.customer,
            amount_cents=data["amount"],
            method=data["method"],
            received_by=person_of(self.request),
            key=data["key"],
            received_on=data["received_on"],
            reference=data["reference"],
            allocations=self.shares,
            order=self.order if self.is_for_order else None,
            rest=data["rest"] or payments.Rest.LEAVE,
            rest_reason=data["rest_reason"],
            is_another=data["is_another"],
        )

    def done_message(self, made: Payment) -> str:
        left_cents = made.amount_cents - sum(cents for _bill, cents in payments.put_to(made))
        if left_cents and made.order:
            sentence = _(
                "%(amount)s from %(customer)s recorded. Of this, %(left)s is kept for order "
                "%(order)s."
            )
        elif left_cents:
            sentence = _(
                "%(amount)s from %(customer)s recorded. Of this, %(left)s stays on account."
            )
        else:
            sentence = _("%(amount)s from %(customer)s recorded.")
        return sentence % {
            "amount": words.money(made.handed_cents),
            "customer": made.customer,
            "left": words.money(left_cents),
            "order": made.order.number if made.order else "",
        }

    def next_url(self, made: Payment) -> str:
        if self.invoice is not None:
            return reverse("billing:invoice_detail", args=[self.invoice.pk])
        return reverse("billing:payment_detail", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "customer": self.customer,
            "invoice": self.invoice,
            "account": money.account_of(self.customer, timezone.localdate()),
        }


@require_POST
@permission_required(TAKE, raise_exception=True)
def free_prepayment(request: HttpRequest, pk: int) -> HttpResponse:
    """Let what was paid for an order be used for any invoice of the customer."""
    payment = get_object_or_404(Payment.objects.select_related("customer", "order"), pk=pk)
    try:
        payments.free_prepayment(payment=payment)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("The money can be used for any invoice of %s now.") % payment.customer
        )
    return redirect("billing:payment_detail", pk=pk)


@require_GET
@permission_required(SEE, raise_exception=True)
def order_money(request: HtmxRequest) -> HttpResponse:
    """Return what was paid in advance for an order as a part of its page; alone, show the order."""
    number = request.GET.get("order", "").replace("\x00", "")
    if not request.htmx:
        return redirect("orders:order_detail", number) if number else redirect("billing:money")
    order = get_object_or_404(Order, number=number)
    context = {"order": order, "payments": money.prepayments(order)}
    return render(request, "billing/_order_money.html", context)


class RefundView(MoneyBackView):
    """Give the money of a credit note back, by the way it came."""

    permission_required = TAKE
    form_class = RefundForm
    template_name = "billing/refund.html"

    def prepare(self) -> None:
        self.note = get_object_or_404(
            Invoice.objects.select_related("customer", "credits"),
            pk=self.kwargs["pk"],
            credits__isnull=False,
            customer__isnull=False,
        )
        self.left_cents = payments.to_refund_cents(self.note)

    def get_initial(self) -> dict[str, Any]:
        return {"amount": self.left_cents, "method": payments.paid_by(self.note)}

    def act(self, data: dict[str, Any]) -> Payment:
        return payments.refund(note=self.note, **self.how(data))

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(note=self.note, left_cents=self.left_cents, **kwargs)


class CheckBounceView(ActView):
    """Record that a check bounced."""

    permission_required = TAKE
    form_class = CheckBounceForm
    template_name = "billing/bounce.html"

    def prepare(self) -> None:
        self.payment = get_object_or_404(
            Payment.objects.select_related("customer"),
            pk=self.kwargs["pk"],
            method=Payment.Method.CHECK,
        )

    def act(self, data: dict[str, Any]) -> BouncedCheck:
        return bounced_checks.record(
            payment=self.payment,
            recorded_by=person_of(self.request),
            key=data["key"],
            bounced_on=data["bounced_on"],
            bank_fee_cents=data["bank_fee"],
            customer_fee_cents=data["customer_fee"],
            reason=data["reason"],
        )

    def done_message(self, made: BouncedCheck) -> str:
        said = _("The check over %(amount)s bounced. The amount it paid is owed again.") % {
            "amount": words.money(made.payment.amount_cents)
        }
        if made.bill is not None:
            billed = _("Invoice %(invoice)s is issued for %(total)s.") % {
                "invoice": made.bill,
                "total": words.money(made.bill.total_cents),
            }
            said = f"{said} {billed}"
        return said

    def next_url(self, made: BouncedCheck) -> str:
        return reverse("billing:payment_detail", args=[self.payment.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(
            payment=self.payment, put_to=payments.put_to(self.payment), **kwargs
        )


class GoodAfterAllView(ActView):
    """Take back that a check bounced: it was good after all."""

    permission_required = TAKE
    form_class = UndoReasonForm
    template_name = "billing/good_after_all.html"

    def prepare(self) -> None:
        self.bounced = get_object_or_404(
            BouncedCheck.objects.select_related("payment__customer", "bill"),
            payment=self.kwargs["pk"],
        )

    def act(self, data: dict[str, Any]) -> BouncedCheck:
        return bounced_checks.undo(
            bounced=self.bounced,
            undone_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: BouncedCheck) -> str:
        return _("The check over %(amount)s was good. Its payment is recorded again.") % {
            "amount": words.money(made.payment.amount_cents)
        }

    def next_url(self, made: BouncedCheck) -> str:
        return reverse("billing:payment_detail", args=[made.recorded_again_id])

    def repeat_url(self, made: Any) -> str:
        return reverse("billing:payment_list")

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(bounced=self.bounced, **kwargs)


class AdjustView(ActView):
    """Write off what is left of an invoice, or give a discount on it."""

    permission_required = ISSUE
    form_class = AdjustForm
    template_name = "billing/adjust.html"

    def prepare(self) -> None:
        self.invoice = get_object_or_404(
            Invoice.objects.select_related("customer"), pk=self.kwargs["pk"]
        )

    def get_initial(self) -> dict[str, Any]:
        return {"amount": self.invoice.open_cents, "kind": Adjustment.Kind.WRITE_OFF}

    def act(self, data: dict[str, Any]) -> Adjustment:
        return adjustments.adjust(
            invoice=self.invoice,
            kind=data["kind"],
            cents=data["amount"],
            reason=data["reason"],
            lowers_tax=data["lowers_tax"],
            happened_on=data["happened_on"],
            made_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Adjustment) -> str:
        return _("%(amount)s is taken off invoice %(invoice)s.") % {
            "amount": words.money(made.total_cents),
            "invoice": made.invoice,
        }

    def next_url(self, made: Adjustment) -> str:
        return reverse("billing:invoice_detail", args=[self.invoice.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(invoice=self.invoice, **kwargs)


@require_GET
@permission_required(SEE, raise_exception=True)
def adjustment_list(request: HttpRequest) -> HttpResponse:
    """Show what was written off and given as a discount."""
    days = by_days(request, money.adjustments(), "happened_on")
    return render(request, "billing/adjustment_list.html", {"days": days, "page_obj": days.page})


class UndoAdjustmentView(ActView):
    """Show what was taken off an invoice, and take that back."""

    permission_required = ISSUE
    form_class = UndoReasonForm
    template_name = "billing/adjustment.html"

    def prepare(self) -> None:
        self.adjustment = get_object_or_404(
            Adjustment.objects.select_related("invoice", "customer", "made_by", "reverses"),
            pk=self.kwargs["pk"],
        )

    def act(self, data: dict[str, Any]) -> Adjustment:
        return adjustments.undo(
            adjustment=self.adjustment,
            undone_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Adjustment) -> str:
        return _("%(amount)s is to be paid again on invoice %(invoice)s.") % {
            "amount": words.money(-made.total_cents),
            "invoice": made.invoice,
        }

    def next_url(self, made: Adjustment) -> str:
        return reverse("billing:invoice_detail", args=[self.adjustment.invoice_id])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        undone_by = Adjustment.objects.filter(reverses=self.adjustment).first()
        return super().get_context_data(adjustment=self.adjustment, undone_by=undone_by, **kwargs)


class InterestView(ActView):
    """Show the interest on what a customer pays late, then bill it."""

    permission_required = (ISSUE, "orders.take_orders")
    form_class = InterestForm
    template_name = "billing/interest.html"

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])
        # What is looked at is in the address; what is billed, in the form.
        asked = InterestForm({**self.request.GET.dict(), "key": "look"})
        asked.is_valid()
        cleaned = asked.cleaned_data
        house = House.current()
        self.percent = Decimal(cleaned.get("percent_a_year") or house.interest_percent_a_year)
        self.until = cleaned.get("until") or timezone.localdate()
        self.found = (
            interest.preview(self.customer, percent_a_year=self.percent, until=self.until)
            if self.percent
            else []
        )
        self.total_cents = sum(each.cents for each in self.found)

    def get_initial(self) -> dict[str, Any]:
        return {
            "percent_a_year": self.percent.normalize() or None,
            "until": self.until,
            "total_cents": self.total_cents,
        }

    def act(self, data: dict[str, Any]) -> Invoice:
        return interest.charge(
            customer=self.customer,
            percent_a_year=data["percent_a_year"],
            until=data["until"],
            total_cents=data["total_cents"],
            billed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Invoice) -> str:
        return _("Invoice %(invoice)s is issued for %(total)s.") % {
            "invoice": made,
            "total": words.money(made.total_cents),
        }

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:invoice_detail", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(
            customer=self.customer,
            found=self.found,
            total_cents=self.total_cents,
            percent=self.percent,
            until=self.until,
            **kwargs,
        )


class TakeOpeningBackView(ActView):
    """Take back an opening invoice that was entered wrongly."""

    permission_required = ISSUE
    form_class = UndoReasonForm
    template_name = "billing/opening_take_back.html"

    def prepare(self) -> None:
        self.invoice = get_object_or_404(
            Invoice.objects.select_related("customer"), pk=self.kwargs["pk"]
        )

    def act(self, data: dict[str, Any]) -> Adjustment:
        return opening.take_back(
            invoice=self.invoice,
            taken_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Adjustment) -> str:
        return _("Opening invoice %(invoice)s is taken back.") % {"invoice": made.invoice}

    def next_url(self, made: Adjustment) -> str:
        return reverse("billing:invoice_detail", args=[self.invoice.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(invoice=self.invoice, **kwargs)

"""The drum register: who holds which drum, drums that come back, and their deposits."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from apiary_sales.billing.forms.drums import (
    PAY_BACK,
    DepositRefundForm,
    DrumLostForm,
    DrumsReturnForm,
    KeepDepositForm,
)
from apiary_sales.billing.forms.payments import UndoReasonForm
from apiary_sales.billing.models import KeptDeposit
from apiary_sales.billing.queries import drum_register as register
from apiary_sales.billing.services import drum_deposits
from apiary_sales.billing.services.drum_deposits import Refund
from apiary_sales.customers.models import Customer
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.models import DrumReturn, FulfilmentLine, ReturnedDrum
from apiary_sales.orders.rules.lines import vessel_of
from apiary_sales.orders.services import drum_register
from inventory.shared import csv_files, documents, words
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place

REGISTER = "documents/drum_register.html"


@sees_buyers
@require_safe
def drum_list(request: HttpRequest) -> HttpResponse:
    return render(request, "billing/drum_register.html", register_context())


@sees_buyers
@require_safe
def drum_list_pdf(request: HttpRequest) -> HttpResponse:
    return documents.serve(
        request, name="drum-register.pdf", template_name=REGISTER, context=register_context()
    )


@sees_buyers
@require_safe
def drum_list_csv(request: HttpRequest) -> HttpResponse:
    outings = [*register.still_out(), *register.lost()]
    return csv_files.csv_response("drum-register.csv", register.csv_rows(outings))


@sees_buyers
@require_safe
def drum_history(request: HttpRequest, code: str) -> HttpResponse:
    drum = get_object_or_404(Place, code=code, kind=Place.Kind.DRUM)
    outings = register.of_drum(drum)
    context = {
        "drum": drum,
        "events": register.history(drum),
        "now": next((outing for outing in outings if outing.is_out), None),
        "can_keep": [outing for outing in outings if outing.can_keep_deposit],
        "can_give_up": [outing for outing in outings if outing.can_give_up_keeping],
    }
    return render(request, "billing/drum_history.html", context)


def register_context() -> dict[str, Any]:
    outings = register.still_out()
    return {
        "holders": register.holders(outings),
        "count": len(outings),
        "deposit_cents": sum(outing.deposit_cents for outing in outings),
        "lost": register.lost(),
        "to_refund": register.to_refund(),
        "today": timezone.localdate(),
    }


class DrumsReturnView(ActView):
    """Record drums of a customer that came back, whichever orders they went with."""

    permission_required = "orders.fulfil_orders"
    template_name = "billing/drums_return.html"
    form_class = DrumsReturnForm

    @cached_property
    def customer(self) -> Customer:
        return get_object_or_404(Customer, pk=self.kwargs["pk"])

    def get_form_kwargs(self) -> dict[str, Any]:
        self.outings = register.with_customer(self.customer)
        return {**super().get_form_kwargs(), "outings": self.outings}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "customer": self.customer}

    def form_valid(self, form: DrumsReturnForm) -> HttpResponse:
        self.chosen, self.tares = form.chosen, form.tares
        self.kept = [each for each in self.outings if each.kept and each.line in form.chosen]
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> DrumReturn:
        return drum_register.take_back(
            outings=self.chosen,
            received_by=person_of(self.request),
            key=data["key"],
            outcome=data["outcome"],
            returned_on=data["returned_on"],
            tares=self.tares,
            note=data["note"],
        )

    def done_message(self, made: DrumReturn) -> str:
        kept = (f"{outing.drum.name}: {outing.kept_in_words}" for outing in self.kept)
        return " ".join([self._back_message(made), *kept])

    def done_level(self, made: DrumReturn) -> int:
        return messages.WARNING if self.kept else messages.SUCCESS

    def _back_message(self, made: DrumReturn) -> str:
        if made.outcome == DrumReturn.Outcome.DAMAGED:
            return ngettext(
                "%(count)s drum is back and stays out of use.",
                "%(count)s drums are back and stay out of use.",
                len(self.chosen),
            ) % {"count": len(self.chosen)}
        return ngettext(
            "%(count)s drum is back and in use again.",
            "%(count)s drums are back and in use again.",
            len(self.chosen),
        ) % {"count": len(self.chosen)}

    def next_url(self, made: DrumReturn) -> str:
        if self.kept:
            # There the keeping can be given up.
            return reverse("billing:drum_history", args=[self.kept[0].drum.code])
        may_refund = self.request.user.has_perm("billing.issue_invoices")
        if may_refund and register.to_refund(self.customer):
            return reverse("billing:deposit_refund", args=[self.customer.pk])
        return reverse("billing:drum_register")

    repeat_url = next_url


class DrumLostView(ActView):
    """Give a drum up for lost: its deposit is kept."""

    permission_required = ("orders.fulfil_orders", "billing.issue_invoices")
    template_name = "billing/drum_lost.html"
    form_class = DrumLostForm

    @cached_property
    def outing(self) -> FulfilmentLine:
        rows = FulfilmentLine.objects.outings().select_related(
            "order_line__drum", "fulfilment__order__customer"
        )
        return get_object_or_404(rows, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = {"outing": self.outing, "drum": vessel_of(self.outing.order_line)}
        return {**super().get_context_data(**kwargs), **context}

    def act(self, data: dict[str, Any]) -> DrumReturn:
        return drum_deposits.report_lost(
            outings=[self.outing],
            reported_by=person_of(self.request),
            key=data["key"],
            note=data["note"],
            lost_on=data["lost_on"],
        )

    def done_message(self, made: DrumReturn) -> str:
        drum = vessel_of(self.outing.order_line).name
        kept = KeptDeposit.objects.filter(returned_drum__drum_return=made).first()
        if kept is None:
            return _("%(drum)s is given up for lost.") % {"drum": drum}
        return _("%(drum)s is given up for lost. Its deposit of %(amount)s is kept.") % {
            "drum": drum,
            "amount": words.money(kept.amount_cents),
        }

    def next_url(self, made: DrumReturn) -> str:
        return reverse("billing:drum_register")

    repeat_url = next_url


class KeepDepositView(ActView):
    """Keep the deposit of a drum that came back damaged."""

    permission_required = "billing.issue_invoices"
    template_name = "billing/deposit_keep.html"
    form_class = KeepDepositForm

    @cached_property
    def returned(self) -> ReturnedDrum:
        rows = ReturnedDrum.objects.select_related(
            "drum_return", "fulfilment_line__order_line__drum", "fulfilment_line__fulfilment__order"
        )
        return get_object_or_404(rows, pk=self.kwargs["pk"])

    @property
    def drum(self) -> Place:
        return vessel_of(self.returned.fulfilment_line.order_line)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = {"returned": self.returned, "drum": self.drum}
        return {**super().get_context_data(**kwargs), **context}

    def act(self, data: dict[str, Any]) -> KeptDeposit:
        return drum_deposits.keep(
            returned_drum=self.returned,
            kept_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: KeptDeposit) -> str:
        return _("The deposit of %(drum)s is kept: %(amount)s.") % {
            "drum": self.drum.name,
            "amount": words.money(made.amount_cents),
        }

    def next_url(self, made: KeptDeposit) -> str:
        return reverse("billing:drum_history", args=[self.drum.code])

    repeat_url = next_url


class GiveUpKeepingView(ActView):
    """Owe the kept deposit of a drum that came back to its customer again."""

    permission_required = "billing.issue_invoices"
    template_name = "billing/deposit_keep_undo.html"
    form_class = UndoReasonForm

    @cached_property
    def kept(self) -> KeptDeposit:
        rows = KeptDeposit.objects.select_related(
            "returned_drum__fulfilment_line__order_line__drum",
            "returned_drum__fulfilment_line__fulfilment__order__customer",
        )
        return get_object_or_404(rows, pk=self.kwargs["pk"])

    @property
    def drum(self) -> Place:
        return vessel_of(self.kept.returned_drum.fulfilment_line.order_line)

    @property
    def customer(self) -> Customer:
        customer = self.kept.returned_drum.fulfilment_line.fulfilment.order.customer
        assert customer is not None
        return customer

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = {"kept": self.kept, "drum": self.drum, "customer": self.customer}
        return {**super().get_context_data(**kwargs), **context}

    def act(self, data: dict[str, Any]) -> KeptDeposit:
        return drum_deposits.give_up_keeping(
            kept=self.kept, undone_by=person_of(self.request), reason=data["reason"]
        )

    def done_message(self, made: KeptDeposit) -> str:
        return _("The deposit of %(drum)s is held again: %(amount)s. It can be given back.") % {
            "drum": self.drum.name,
            "amount": words.money(made.amount_cents),
        }

    def next_url(self, made: KeptDeposit) -> str:
        may_refund = self.request.user.has_perm("billing.take_payments")
        if may_refund and register.to_refund(self.customer):
            return reverse("billing:deposit_refund", args=[self.customer.pk])
        return reverse("billing:drum_history", args=[self.drum.code])

    def repeat_url(self, made: KeptDeposit) -> str:
        return reverse("billing:drum_history", args=[self.drum.code])


class DepositRefundView(ActView):
    """Give back the deposits of a customer's drums that came back, over all their invoices."""

    permission_required = ("billing.issue_invoices", "billing.take_payments")
    template_name = "billing/deposit_refund.html"
    form_class = DepositRefundForm

    @cached_property
    def customer(self) -> Customer:
        return get_object_or_404(Customer, pk=self.kwargs["pk"])

    @cached_property
    def deposits(self) -> list[register.DepositToRefund]:
        return register.to_refund(self.customer)

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "deposits": self.deposits}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = {"customer": self.customer, "deposits": self.deposits}
        return {**super().get_context_data(**kwargs), **context}

    def form_valid(self, form: DepositRefundForm) -> HttpResponse:
        self.drums = form.drums
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Refund:
        self.pays_back = data["how"] == PAY_BACK
        return drum_deposits.refund(
            customer=self.customer,
            drums=self.drums,
            refunded_by=person_of(self.request),
            key=data["key"],
            pays_back=self.pays_back,
            method=data["method"],
            reference=data["reference"],
        )

    def done_message(self, made: Refund) -> str:
        credited = _("Deposits of %(amount)s are credited: %(notes)s.") % {
            "amount": words.money(made.total_cents),
            "notes": ", ".join(str(note) for note in made.notes),
        }
        if made.payment is not None:
            paid = _("%(amount)s given back to %(customer)s.") % {
                "amount": words.money(-made.payment.amount_cents),
                "customer": self.customer,
            }
            return f"{credited} {paid}"
        if self.pays_back:
            nothing = _("No money of theirs was on account, so none is given back.")
            return f"{credited} {nothing}"
        return credited

    def done_level(self, made: Refund) -> int:
        is_short = self.pays_back and made.payment is None
        return messages.WARNING if is_short else messages.SUCCESS

    def next_url(self, made: Any) -> str:
        return reverse("billing:statement", args=[self.customer.pk])

    repeat_url = next_url

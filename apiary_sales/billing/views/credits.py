"""Credit notes, corrected invoices, and goods that came back."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from apiary_sales.billing.forms.credits import BilledGoodsBackForm, CorrectForm, CreditForm
from apiary_sales.billing.forms.money import DepositForm
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.queries import money
from apiary_sales.billing.services import corrected_invoices, credit_notes
from apiary_sales.billing.services.invoices import Draft
from apiary_sales.billing.views.money import ISSUE, invoice_or_404
from apiary_sales.orders.models import FulfilmentLine, Order
from apiary_sales.orders.services import returns
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ActView


class BillActView(ActView):
    """An act that issues a bill: it shows the figures first, and sends the total along."""

    permission_required = ISSUE

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "work_out" in request.POST:
            form = self.get_form()
            form.is_valid()
            return self.render_to_response(self.get_context_data(form=form))
        return super().post(request, *args, **kwargs)

    def work_out(self, data: Any) -> Draft:
        """Return the bill as it would be issued with what the bound, valid form has."""
        raise NotImplementedError

    def worked_out(self) -> Draft | None:
        """Return the bill as it would be issued with nothing changed; None where there is none."""
        raise NotImplementedError

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        draft = None
        try:
            if not form.is_bound:
                draft = self.worked_out()
            elif form.is_valid_to_work_out():
                draft = self.work_out(form)
        except HouseError as error:
            # Said by the act itself where the form was sent to be issued.
            if form.is_bound and not form.errors:
                form.refuse(error)
        return {
            **context,
            "draft": draft,
            "total_cents": abs(draft.invoice.total_cents) if draft else None,
        }

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:invoice_detail", args=[made.pk])

    repeat_url = next_url


class CreditView(BillActView):
    """Credit an invoice in full, or some of its lines, and say what came back."""

    form_class = CreditForm
    template_name = "billing/invoice_credit.html"

    def prepare(self) -> None:
        self.invoice = invoice_or_404(self.kwargs["pk"])
        if self.invoice.is_credit_note:
            raise Http404
        self.left = credit_notes.left_on(self.invoice)

    def get_form_kwargs(self) -> dict[str, Any]:
        order = self.invoice.order
        may_send_again = order is not None and order.channel not in Order.AT_ONCE
        return {**super().get_form_kwargs(), "left": self.left, "may_send_again": may_send_again}

    def worked_out(self) -> Draft:
        return credit_notes.draft(self.invoice)

    def work_out(self, form: CreditForm) -> Draft:
        return credit_notes.draft(self.invoice, form.lines)

    def act(self, data: dict[str, Any]) -> Invoice:
        form = self.form
        return credit_notes.credit(
            invoice=self.invoice,
            issued_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            lines=form.lines,
            goods_back=form.goods_back,
            returned_on=data.get("returned_on"),
            sends_again=data.get("sends_again", False),
            expected_total_cents=data["expected_total_cents"],
        )

    def done_message(self, made: Invoice) -> str:
        sentences = [
            _("Credit note %(note)s for %(total)s is issued.")
            % {"note": made, "total": words.money(-made.total_cents)}
        ]
        if self.form.goods_back:
            sentences.append(_("The goods that came back are booked."))
        elif self.form.has_goods:
            sentences.append(_("The goods stay with the buyer."))
        if self.form.cleaned_data.get("sends_again"):
            sentences.append(_("Order %(order)s is to fill again.") % {"order": self.invoice.order})
        return " ".join(sentences)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        settled = money.settled_by(self.invoice)
        return {
            **super().get_context_data(**kwargs),
            "invoice": self.invoice,
            "paid_cents": sum(share.cents for share in settled),
        }


class CorrectInvoiceView(BillActView):
    """Credit a wrong invoice and issue its corrected copy."""

    form_class = CorrectForm
    template_name = "billing/invoice_correct.html"

    def prepare(self) -> None:
        self.invoice = invoice_or_404(self.kwargs["pk"])
        if not corrected_invoices.may_be_corrected(self.invoice):
            raise Http404

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "lines": corrected_invoices.to_bill(self.invoice)}

    def get_initial(self) -> dict[str, Any]:
        return {"customer_reference": self.invoice.buyer.get("reference", "")}

    def worked_out(self) -> Draft:
        return corrected_invoices.draft(self.invoice)

    def work_out(self, form: CorrectForm) -> Draft:
        return corrected_invoices.draft(self.invoice, form.changes)

    def act(self, data: dict[str, Any]) -> Invoice:
        return corrected_invoices.correct(
            invoice=self.invoice,
            issued_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            changes=self.form.changes,
            customer_reference=data["customer_reference"],
            expected_total_cents=data["expected_total_cents"],
        )

    def done_message(self, made: Invoice) -> str:
        return _("Invoice %(before)s is credited, and %(copy)s is issued for %(total)s.") % {
            "before": self.invoice,
            "copy": made,
            "total": words.money(made.total_cents),
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "invoice": self.invoice}


class DepositView(ActView):
    """Give the deposit of drums that came back by a credit note."""

    permission_required = ISSUE
    form_class = DepositForm
    template_name = "billing/deposit_credit.html"

    def prepare(self) -> None:
        self.invoice = invoice_or_404(self.kwargs["pk"])
        self.drums = credit_notes.drums_on_deposit(self.invoice)

    def get_initial(self) -> dict[str, Any]:
        return {"drums": self.drums or None}

    def act(self, data: dict[str, Any]) -> Invoice:
        return credit_notes.credit_deposit(
            invoice=self.invoice,
            drums=data["drums"],
            issued_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Invoice) -> str:
        return _("Credit note %(note)s gives %(amount)s of deposit back.") % {
            "note": made,
            "amount": words.money(-made.total_cents),
        }

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:invoice_detail", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "invoice": self.invoice,
            "drums": self.drums,
        }


class GoodsBackView(ActView):
    """Book goods that came back after their invoice was credited, or without a credit."""

    permission_required = ISSUE
    form_class = BilledGoodsBackForm
    template_name = "billing/goods_back.html"

    def prepare(self) -> None:
        self.order = get_object_or_404(
            Order.objects.select_related("customer"), number=self.kwargs["number"]
        )
        self.goods = list(
            FulfilmentLine.objects.not_taken_back()
            .filter(fulfilment__order=self.order, billed_cents__isnull=False)
            .select_related(
                "fulfilment", "order_line__drum", "order_line__product", "lot__product__item"
            )
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "goods": self.goods}

    def act(self, data: dict[str, Any]) -> Order:
        return returns.record(
            order=self.order,
            goods_back=self.form.goods_back,
            recorded_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            returned_on=data.get("returned_on"),
        )

    def done_message(self, made: Order) -> str:
        return _("The goods that came back are booked.")

    def next_url(self, made: Order) -> str:
        return reverse("orders:order_detail", args=[self.order.number])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "order": self.order}

"""Part of a stand sale comes back, and returns for which the office is asked."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.forms.stand_returns import (
    DecideForm,
    GiveBackForm,
    NoReceiptForm,
    ReturnForm,
)
from apiary_sales.billing.models import Invoice, ReturnRequest
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries import stand_returns as queries
from apiary_sales.billing.services import credit_notes, return_requests, stand_returns
from apiary_sales.billing.services.invoices import Draft
from apiary_sales.billing.services.stand_returns import APPROVE
from apiary_sales.billing.stand_return_rules import comes_to, how_to_give, share_out
from apiary_sales.billing.views.credits import BillActView
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView

State = ReturnRequest.State


class ReturnView(BillActView):
    """Take some of the goods of a receipt back, or ask the office where the sale is older."""

    permission_required = SELL
    form_class = ReturnForm
    template_name = "billing/receipt_return.html"

    def prepare(self) -> None:
        self.receipt = get_object_or_404(stand_queries.receipts(), pk=self.kwargs["pk"])
        self.left = credit_notes.left_on(self.receipt)
        self.asks = stand_returns.needs_approval(self.receipt, person_of(self.request))
        self.ways = stand_returns.ways_left(self.receipt)

    def get_form_kwargs(self) -> dict[str, Any]:
        # How it is given back is said when it is.
        ways = {} if self.asks else self.ways
        return {**super().get_form_kwargs(), "left": self.left, "ways": ways}

    def worked_out(self) -> Draft | None:
        return None

    def work_out(self, form: ReturnForm) -> Draft:
        with stand_returns.lines_named(len(form.lines)):
            return credit_notes.draft(self.receipt, [each.credit for each in form.lines])

    def act(self, data: dict[str, Any]) -> Invoice | ReturnRequest:
        about = {
            "receipt": self.receipt,
            "lines": self.form.lines,
            "reason": data["reason"],
            "key": data["key"],
        }
        if self.asks:
            return return_requests.ask(**about, asked_by=person_of(self.request))
        return stand_returns.give_back(
            **about,
            **self.form.way,
            given_by=person_of(self.request),
            expected_total_cents=data["expected_total_cents"],
        )

    def done_message(self, made: Invoice | ReturnRequest) -> str:
        if isinstance(made, ReturnRequest):
            return _("The office is asked.")
        return given_text(made)

    def next_url(self, made: Invoice | ReturnRequest) -> str:
        if isinstance(made, ReturnRequest):
            return reverse("billing:return_request", args=[made.pk])
        return reverse("billing:receipt", args=[self.receipt.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "receipt": self.receipt,
            "asks": self.asks,
        }


class NoReceiptView(ActView):
    """Ask the office about goods that came back without a receipt."""

    permission_required = SELL
    form_class = NoReceiptForm
    template_name = "billing/return_without_receipt.html"

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "places": stand_queries.places(person_of(self.request)),
            "products": Product.objects.for_sale()
            .filter(item__is_weighed=False)
            .select_related("item"),
        }

    def act(self, data: dict[str, Any]) -> ReturnRequest:
        return return_requests.ask_without_receipt(asked_by=person_of(self.request), **data)

    def done_message(self, made: ReturnRequest) -> str:
        return _("The office is asked.")

    def next_url(self, made: ReturnRequest) -> str:
        return reverse("billing:return_request", args=[made.pk])

    repeat_url = next_url


class ReturnRequestView(ActView):
    """What was asked and decided; while it waits the page looks again every few seconds.

    Once it is approved, one tap gives the money back.
    """

    permission_required = SELL
    form_class = GiveBackForm
    template_name = "billing/return_request.html"

    def prepare(self) -> None:
        self.asked = _request_or_404(self.request, self.kwargs["pk"])
        self.is_approved = self.asked.state == State.APPROVED
        self.ways: dict[str, int] = {}
        self.cents: int | None = None
        if self.asked.receipt and self.asked.is_open:
            self.ways = stand_returns.ways_left(self.asked.receipt)
            self.cents = comes_to(
                credit_notes.left_on(self.asked.receipt), return_requests.lines_of(self.asked)
            )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "ways": self.ways if self.is_approved else {}}

    def act(self, data: dict[str, Any]) -> ReturnRequest:
        return return_requests.give_back(
            request=self.asked,
            given_by=person_of(self.request),
            key=data["key"],
            **self.form.way,
        )

    def done_message(self, made: ReturnRequest) -> str:
        return given_text(made.credit_note) if made.credit_note else ""

    def next_url(self, made: ReturnRequest) -> str:
        return reverse("billing:return_request", args=[self.asked.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        one_way = share_out(self.ways, self.cents or 0, "") if len(self.ways) == 1 else {}
        note = self.asked.credit_note
        return {
            **super().get_context_data(**kwargs),
            "asked": self.asked,
            "cents": self.cents,
            "how": how_to_give(one_way),
            "given_cents": sum(stand_returns.given_back(note).values()) if note else None,
            "waits": self.asked.state == State.ASKED,
            "may_decide": self.asked.is_open and self.request.user.has_perm(APPROVE),
        }


class DecideView(ActView):
    """Approve or refuse a return on the office's own device."""

    permission_required = APPROVE
    form_class = DecideForm
    template_name = "billing/return_decide.html"

    def prepare(self) -> None:
        self.asked = _request_or_404(self.request, self.kwargs["pk"])
        self.receipts = (
            None
            if self.asked.has_receipt or self.asked.state != State.ASKED
            else queries.receipts_it_may_be(self.asked)
        )
        self.cents: int | None = None
        if self.asked.receipt and self.asked.is_open:
            self.cents = comes_to(
                credit_notes.left_on(self.asked.receipt), return_requests.lines_of(self.asked)
            )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "receipts": self.receipts}

    def act(self, data: dict[str, Any]) -> ReturnRequest:
        about = {"request": self.asked, "key": data["key"], "note": data["note"]}
        if "refuse" in self.request.POST:
            return return_requests.refuse(**about, refused_by=person_of(self.request))
        return return_requests.approve(
            **about, approved_by=person_of(self.request), receipt=data.get("receipt")
        )

    def done_message(self, made: ReturnRequest) -> str:
        if made.state == State.REFUSED:
            return _("The return is refused. The stand reads why.")
        return _("The return is approved. The stand can give the money back now.")

    def done_level(self, made: ReturnRequest) -> int:
        return messages.INFO if made.state == State.REFUSED else messages.SUCCESS

    def next_url(self, made: ReturnRequest) -> str:
        return reverse("billing:return_requests")

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "asked": self.asked,
            "cents": self.cents,
            "receipts": self.receipts,
            "may_approve": self.asked.state == State.ASKED
            and (self.asked.has_receipt or bool(self.receipts)),
        }


@require_GET
@permission_required(SELL, raise_exception=True)
def return_request_list(request: HttpRequest) -> HttpResponse:
    """Show returns that were asked about, newest first: all of them to who decides."""
    decides = request.user.has_perm(APPROVE)
    found = queries.requests(person_of(request), decides=decides)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    return render(
        request, "billing/return_request_list.html", {"page_obj": page, "decides": decides}
    )


def given_text(note: Invoice) -> str:
    """Say what to hand over for a credit note, where the goods went, and what was written."""
    how = how_to_give(stand_returns.given_back(note)) or _("Nothing was paid for it.")
    return _("%(how)s Credit note %(note)s for %(total)s is written.") % {
        "how": how,
        "note": note,
        "total": words.money(-note.total_cents),
    }


def _request_or_404(request: HttpRequest, pk: int) -> ReturnRequest:
    """Return a request; anybody at the stand may see it, since a phone is shared."""
    try:
        return queries.requests(person_of(request), decides=True).get(pk=pk)
    except ReturnRequest.DoesNotExist:
        raise Http404 from None

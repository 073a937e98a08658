"""Orders that buyers fetch at the stand: the list, the hand-over, and what was handed over."""

from typing import Any, cast

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing import papers
from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.forms.stand_pickups import PickupForm, PickupSearchForm
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries import stand_pickups as queries
from apiary_sales.billing.services import stand_pickups
from apiary_sales.billing.services.stand_pickups import PickupBill
from apiary_sales.orders.models import Order
from inventory.shared import documents, words
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ShowFirstView
from inventory.stock.models import Place


@require_GET
@permission_required(SELL, raise_exception=True)
def pickup_list(request: HttpRequest) -> HttpResponse:
    """Show the orders that buyers fetch, those wanted first at the top."""
    form = PickupSearchForm(request.GET)
    text = form.cleaned_data["text"] if form.is_valid() else ""
    context = {"form": form, "text": text, "pickups": queries.waiting(text)}
    return render(request, "billing/pickups/list.html", {**context, "most": queries.SHOWN_MAX})


class PickupView(ShowFirstView):
    """Hand an order over to its buyer, with its invoice, and take the money."""

    permission_required = SELL
    form_class = PickupForm
    template_name = "billing/pickups/pickup.html"

    def prepare(self) -> None:
        self.order = get_object_or_404(
            Order.objects.select_related("customer"), number=self.kwargs["number"]
        )
        if not queries.may_look_at(self.order, person_of(self.request)):
            raise Http404
        self.places = list(stand_queries.places(person_of(self.request)))
        chosen = self.request.GET.get("place") or queries.place_of(self.order, self.places)
        self.place = stand_queries.chosen(self.places, chosen)
        is_open = self.order.status in Order.OPEN_STATUSES
        self.lines = queries.lines_at(self.order, self.place) if self.place and is_open else []

    def get_form_kwargs(self) -> dict[str, Any]:
        customer = self.order.customer
        return {
            **super().get_form_kwargs(),
            "lines": self.lines,
            "terms_days": customer.terms_days if customer else 0,
        }

    def act(self, data: dict[str, Any]) -> StandSale:
        return stand_pickups.hand_over(
            order=self.order,
            # Without a place there is nothing to hand over, and the service says so.
            place=cast(Place, self.place),
            quantities=self.form.quantities,
            is_brought=self.form.is_brought,
            payments=self.form.payments if self._is_to_pay(data) else [],
            on_account=self.form.is_on_account,
            on_top_cents=data["on_top"] or 0,
            expected_total_cents=data["expected_total_cents"],
            handed_over_by=person_of(self.request),
            key=data["key"],
        )

    @staticmethod
    def _is_to_pay(data: dict[str, Any]) -> bool:
        # Without an amount to pay, the page asks for no way of paying.
        return data["expected_total_cents"] != 0 or bool(data["on_top"])

    def done_message(self, made: StandSale) -> str:
        return done_text(made)

    def next_url(self, made: Any) -> str:
        return reverse("billing:stand_pickup_done", args=[self.order.number])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        bill, problem = self._bill(context["form"])
        return {
            **context,
            "order": self.order,
            "place": self.place,
            "places": self.places,
            "lines": self.lines,
            "bill": bill,
            "problem": problem,
            "was_fetched": queries.fetched(self.order, person_of(self.request)).exists(),
        }

    def _bill(self, form: PickupForm) -> tuple[PickupBill | None, str]:
        """Return what the quantities on the form come to, or why they can't be handed over."""
        if self.place is None or not form.quantities:
            return None, ""
        is_brought = bool(form.is_bound and getattr(form, "is_brought", False))
        try:
            bill = stand_pickups.bill(
                order=self.order,
                place=self.place,
                quantities=form.quantities,
                is_brought=is_brought,
            )
        except HouseError as error:
            return None, " ".join(problem.message for problem in error.problems)
        return bill, ""


@require_GET
@permission_required(SELL, raise_exception=True)
def fetched(request: HttpRequest, number: str) -> HttpResponse:
    """Show what was handed over last of an order, and how it was paid."""
    sale = fetched_sale(request, number)
    context = papers.invoice_context(sale.receipt)
    # The house is that of every page.
    del context["house"]
    taken = sale.payments
    taken_cents = sum(payment.amount_cents for payment in taken)
    context |= {
        "sale": sale,
        "order": sale.order,
        "payments": taken,
        "paid_before_cents": context["paid_cents"] - taken_cents,
        "is_open": sale.order.status in Order.OPEN_STATUSES,
    }
    return render(request, "billing/pickups/done.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def invoice_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """Serve the invoice of what was handed over last."""
    invoice: Invoice = fetched_sale(request, number).receipt
    return documents.answer(
        request,
        name=_("Invoice %(number)s.pdf") % {"number": invoice},
        make=lambda: papers.invoice(invoice),
    )


def done_text(sale: StandSale) -> str:
    """Say what was handed over, what to give back, and what is owed."""
    said = [
        _("Order %(order)s is handed over. Invoice %(invoice)s.")
        % {"order": sale.order.number, "invoice": sale.receipt}
    ]
    if sale.change_cents:
        said.append(_("Give back %(change)s.") % {"change": words.money(sale.change_cents)})
    if sale.receipt.open_cents:
        said.append(_("%(left)s is on account.") % {"left": words.money(sale.receipt.open_cents)})
    return " ".join(said)


def fetched_sale(request: HttpRequest, number: str) -> StandSale:
    order = get_object_or_404(Order, number=number)
    sale = queries.fetched(order, person_of(request)).first()
    if sale is None:
        raise Http404
    return sale

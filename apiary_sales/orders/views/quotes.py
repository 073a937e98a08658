"""Quotes of drums: picked and priced on one page, printed, accepted."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import papers
from apiary_sales.orders.forms.quotes import AcceptForm, PickForm, QuoteForm
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.services import quotes
from apiary_sales.orders.views.orders import OrderActView, order_url
from inventory.shared import documents
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.queries import held_goods


@permission_required("orders.quote_drums", raise_exception=True)
@require_POST
def quote_total(request: HttpRequest) -> HttpResponse:
    """A part of the new quote's page: what is ticked so far, added up."""
    today = timezone.localdate()
    form = QuoteForm(request.POST, offers=drums.free_drums(today))
    form.full_clean()
    return render(
        request, "orders/_quote_total.html", {"figures": drums.figures(form.lines, on=today)}
    )


@sees_buyers
@require_safe
def quote_pdf(request: HttpRequest, number: str) -> HttpResponse:
    # Drums are always quoted first; other orders never were a quote.
    order = get_object_or_404(found.for_page(), number=number, channel=Order.Channel.BULK)
    return documents.answer(
        request, name=f"quote-{order.number}.pdf", make=lambda: papers.quote(order)
    )


class QuoteCreateView(ActView):
    permission_required = "orders.quote_drums"
    template_name = "orders/quote_form.html"
    form_class = QuoteForm

    def setup(self, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().setup(request, *args, **kwargs)
        self.today = timezone.localdate()

    def get_form_kwargs(self):
        self.offers = drums.free_drums(self.today)
        self.pick_form, picked = self._picked()
        kwargs = {**super().get_form_kwargs(), "offers": self.offers}
        kwargs["initial"] = {**self._quoted_before(), **picked}
        return kwargs

    def get_context_data(self, **kwargs):
        context = super().get_context_data(**kwargs)
        form = context["form"]
        lines = form.lines if form.is_bound else self._ticked(form)
        return {
            **context,
            "pick_form": self.pick_form,
            "held_drums": held_goods.in_drums(),
            "figures": drums.figures(lines, on=self.today),
        }

    def _picked(self) -> tuple[PickForm, dict[str, Any]]:
        """Return the picking form, and the ticks for the drums that make up what it asks."""
        if "amount" not in self.request.GET:
            return PickForm(), {}
        form = PickForm(self.request.GET)
        picked = {}
        if form.is_valid():
            try:
                chosen = drums.pick(self.offers, form.wanted)
            except HouseError as error:
                form.refuse(error)
            else:
                picked = {f"drum_{offer.drum.pk}": True for offer in chosen}
        return form, picked

    def _quoted_before(self) -> dict[str, Any]:
        """Return what an earlier quote asked for, where `again` names one, at today's prices."""
        number = self.request.GET.get("again", "")
        order = Order.objects.filter(number=number).first() if number else None
        if order is None:
            return {"customer": self.request.GET.get("customer")}
        before = {"customer": order.customer_id, "note": order.note, "drums_as": QuoteForm.OWN}
        for line in order.lines.all():
            if line.kind == OrderLine.Kind.HONEY:
                before[f"drum_{line.drum_id}"] = True
            elif line.kind == OrderLine.Kind.FREIGHT:
                before["freight"] = line.amount_cents
            elif line.kind in (QuoteForm.DEPOSIT, QuoteForm.SALE):
                before["drums_as"] = line.kind
        return before

    def _ticked(self, form: QuoteForm) -> list:
        """Return the lines of what is ticked before anything is sent."""
        filled_in = {name: form[name].value() for name in form.fields}
        trial = QuoteForm(filled_in, offers=self.offers)
        trial.full_clean()
        return trial.lines

    def form_valid(self, form):
        self.form = form
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.quote(
            customer=data["customer"],
            lines=self.form.lines,
            valid_until=data["valid_until"],
            note=data["note"],
            moisture_is_right=data["moisture_is_right"],
            created_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is saved. No goods are reserved until it is accepted.") % {
            "order": made.number
        }

    def next_url(self, made: Order) -> str:
        return order_url(made)

    def repeat_url(self, made: Order) -> str:
        return order_url(made)


class QuoteAcceptView(OrderActView):
    permission_required = "orders.quote_drums"
    template_name = "orders/accept.html"
    form_class = AcceptForm

    def get_context_data(self, **kwargs):
        credit = Order.objects.credit_of(self.order.customer)
        over_limit = credit.warning(self.order.total_cents)
        return {**super().get_context_data(**kwargs), "over_limit": over_limit}

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.accept(
            order=self.order,
            over_limit=data["over_limit"],
            moisture_is_right=data["moisture_is_right"],
            accepted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is an order now, and its goods are reserved.") % {
            "order": made.number
        }

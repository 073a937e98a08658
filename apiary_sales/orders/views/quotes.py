"""Quotes: drums picked and priced on one page, jars on another; printed, accepted."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.customers.fields import customer_in
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import papers
from apiary_sales.orders.forms.changes import pounds_shown
from apiary_sales.orders.forms.lines import OWN_DRUMS
from apiary_sales.orders.forms.orders import JarQuoteForm
from apiary_sales.orders.forms.quotes import AcceptForm, PickForm, QuoteForm
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.queries.quotes import lines_now
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import DRUM_CHARGES
from apiary_sales.orders.services import quotes
from apiary_sales.orders.views.orders import (
    OrderActView,
    OrderCreateView,
    order_url,
)
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
    form = QuoteForm(
        request.POST, offers=drums.free_drums(today), customer=customer_in(request.POST)
    )
    form.full_clean()
    return render(
        request, "orders/_quote_total.html", {"figures": drums.figures(form.lines, on=today)}
    )


@sees_buyers
@require_safe
def quote_pdf(request: HttpRequest, number: str) -> HttpResponse:
    # An order that was taken without a quote has none.
    order = get_object_or_404(found.quoted(), number=number)
    return documents.answer(
        request, name=f"quote-{order.number}.pdf", make=lambda: papers.quote(order)
    )


class FromTheNewest(ActView):
    """A page that quotes again goes on from the quote that replaced the one it is asked for."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        number = request.GET.get("again", "")
        asked = Order.objects.filter(number=number).first() if number else None
        newest = quotes.newest(asked) if asked else None
        if asked is None or newest is None or newest == asked:
            return super().get(request, *args, **kwargs)
        messages.info(
            request,
            _("Quote %(order)s was replaced by %(newest)s. This page goes on from that one.")
            % {"order": asked.number, "newest": newest.number},
        )
        address = request.GET.copy()
        address["again"] = newest.number
        return HttpResponseRedirect(f"{request.path}?{address.urlencode()}")


class QuoteCreateView(FromTheNewest):
    permission_required = "orders.quote_drums"
    template_name = "orders/quote_form.html"
    form_class = QuoteForm

    def setup(self, request: HttpRequest, *args: Any, **kwargs: Any) -> None:
        super().setup(request, *args, **kwargs)
        self.today = timezone.localdate()

    def get_form_kwargs(self):
        self.offers = drums.free_drums(self.today)
        self.pick_form, picked = self._picked()
        self.before = open_quote(self.request)
        kwargs = {**super().get_form_kwargs(), "offers": self.offers}
        kwargs["initial"] = {**self._quoted_before(), **picked}
        typed = self.request.POST or kwargs["initial"]
        return {**kwargs, "customer": customer_in(typed)}

    def get_context_data(self, **kwargs):
        context = super().get_context_data(**kwargs)
        form = context["form"]
        lines = form.lines if form.is_bound else self._ticked(form)
        return {
            **context,
            "pick_form": self.pick_form,
            "again": self.request.GET.get("again", ""),
            "before": self.before,
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
            return {"customer": customer_in(self.request.GET)}
        before = terms_of(order) | {"drums_as": OWN_DRUMS}
        for line in order.lines.all():
            if line.kind == OrderLine.Kind.HONEY:
                before[f"drum_{line.drum_id}"] = True
            elif line.kind == OrderLine.Kind.FREIGHT:
                before["freight"] = line.amount_cents
            elif line.kind in DRUM_CHARGES:
                before["drums_as"] = line.kind
        return before

    def _ticked(self, form: QuoteForm) -> list:
        """Return the lines of what is ticked before anything is sent."""
        filled_in = {name: form[name].value() for name in form.fields}
        trial = QuoteForm(filled_in, offers=self.offers, customer=form.buyer)
        trial.full_clean()
        return trial.lines

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.quote(
            customer=data["customer"],
            lines=self.form.lines,
            valid_until=data["valid_until"],
            wanted_on=data["wanted_on"],
            customer_reference=data["customer_reference"],
            ship_to=data["ship_to"],
            note=data["note"],
            supersedes=self.before,
            expected_total_cents=data["expected_total_cents"],
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


class JarQuoteCreateView(FromTheNewest, OrderCreateView):
    """Jars, goods and services, offered on the page on which orders are taken."""

    permission_required = "orders.quote_drums"
    form_class = JarQuoteForm
    extra_context = {"is_quote": True}

    def get_initial(self):
        self.before = open_quote(self.request)
        return {**super().get_initial(), **self._quoted_before()}

    def get_form_kwargs(self):
        kwargs = super().get_form_kwargs()
        if not self.request.POST and "customer" in kwargs["initial"]:
            kwargs["customer"] = customer_in(kwargs["initial"])
        return kwargs

    def get_context_data(self, **kwargs):
        context = super().get_context_data(**kwargs)
        return {**context, "customer": context["form"].buyer, "before": self.before}

    def _quoted_before(self) -> dict[str, Any]:
        """Return what an earlier quote asked for, where `again` names one, at today's prices."""
        number = self.request.GET.get("again", "")
        order = Order.objects.filter(number=number).first() if number else None
        if order is None:
            return {}
        before = terms_of(order) | {"channel": order.channel}
        by_weight, services = 0, 0
        for line in order.lines.all():
            if line.kind == OrderLine.Kind.PACKED:
                before[f"pieces_{line.product_id}"] = line.quantity
            elif line.kind == OrderLine.Kind.FREIGHT:
                before["freight"] = line.amount_cents
            elif line.kind == OrderLine.Kind.SERVICE:
                before[f"service_{services}"] = line.service_id
                before[f"service_amount_{services}"] = service_units.amount(line.quantity)
                services += 1
            elif line.is_by_weight:
                what = f"vessel-{line.drum_id}" if line.drum_id else f"goods-{line.product_id}"
                before[f"weight_what_{by_weight}"] = what
                before[f"weight_amount_{by_weight}"] = pounds_shown(line.quantity)
                by_weight += 1
        return before

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.quote(
            customer=data["customer"],
            channel=data["channel"],
            lines=self.form.lines,
            valid_until=data["valid_until"],
            wanted_on=data["wanted_on"],
            customer_reference=data["customer_reference"],
            ship_to=data["ship_to"],
            note=data["note"],
            supersedes=self.before,
            expected_total_cents=data["expected_total_cents"],
            moisture_is_right=data["moisture_is_right"],
            created_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is saved. No goods are reserved until it is accepted.") % {
            "order": made.number
        }


def open_quote(request: HttpRequest) -> Order | None:
    """Return the open quote that `again` in the address names: the new one takes its place.

    One that was replaced while the page was open is returned too, so that the service refuses it.
    """
    states = (Order.Status.QUOTED, Order.Status.SUPERSEDED)
    number = request.GET.get("again", "")
    return Order.objects.filter(number=number, status__in=states).first() if number else None


def terms_of(order: Order) -> dict[str, Any]:
    """Return what a new quote takes over from an earlier one, beside its lines."""
    return {
        "customer": order.customer_id,
        "note": order.note,
        "customer_reference": order.customer_reference,
        "ship_to": order.ship_to_id,
    }


class OpenQuoteActView(OrderActView):
    """An act on an open quote; of another, the page of the quote says why it is refused."""

    def check(self) -> None:
        quotes.check_open(self.order)

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            self.check()
        except HouseError as error:
            messages.warning(request, error.message)
            return HttpResponseRedirect(order_url(self.order))
        return super().get(request, *args, **kwargs)


class QuoteAcceptView(OpenQuoteActView):
    permission_required = "orders.quote_drums"
    template_name = "orders/accept.html"
    form_class = AcceptForm

    def check(self) -> None:
        super().check()
        quotes.check_valid(self.order, timezone.localdate())

    def get_context_data(self, **kwargs):
        lines = lines_now(self.order)
        total_cents = sum(row.amount_cents for row in lines)
        credit = Order.objects.credit_of(self.order.customer)
        return {
            **super().get_context_data(**kwargs),
            "lines": lines,
            "total_cents": total_cents,
            "is_reweighed": any(row.is_reweighed for row in lines),
            "over_limit": credit.warning(total_cents),
        }

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.accept(
            order=self.order,
            expected_total_cents=data["expected_total_cents"],
            over_limit=data["over_limit"],
            moisture_is_right=data["moisture_is_right"],
            accepted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is an order now, and its goods are reserved.") % {
            "order": made.number
        }

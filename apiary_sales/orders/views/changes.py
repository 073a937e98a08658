"""Pages that change an order or a quote, and that end a quote."""

from typing import Any

from django.contrib import messages
from django.http import Http404
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from apiary_sales.orders.forms.changes import OrderChangeForm, SubstituteForm
from apiary_sales.orders.forms.orders import ReasonForm
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import stock
from apiary_sales.orders.rules import drum_charges
from apiary_sales.orders.rules.lines import is_whole_drum
from apiary_sales.orders.services import changes, quotes
from apiary_sales.orders.views.orders import OrderActView
from apiary_sales.orders.views.quotes import OpenQuoteActView
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.people import person_of


class OrderChangeView(OrderActView):
    permission_required = "orders.take_orders"
    template_name = "orders/change.html"
    form_class = OrderChangeForm

    def get_form_kwargs(self):
        return {**super().get_form_kwargs(), "order": self.order, "products": stock.products()}

    def act(self, data: dict[str, Any]) -> Order:
        return changes.change(
            order=self.order,
            changes=self.form.changes,
            lines=self.form.lines,
            seen=data["seen"],
            over_limit=data["over_limit"],
            moisture_is_right=data["moisture_is_right"],
            changed_by=person_of(self.request),
            key=data["key"],
            **self.form.details,
        )

    def missing_deposits(self, made: Order) -> str:
        is_drum_new = any(is_whole_drum(line) for line in self.form.lines)
        return drum_charges.notice_of_missing(made.lines.all()) if is_drum_new else ""

    def done_message(self, made: Order) -> str:
        changed = _("%(order)s is changed. It comes to %(total)s before tax now.") % {
            "order": made.number,
            "total": words.money(made.total_cents),
        }
        return f"{changed} {self.missing_deposits(made)}".strip()

    def done_level(self, made: Order) -> int:
        return messages.WARNING if self.missing_deposits(made) else messages.SUCCESS


class SubstituteView(OrderActView):
    permission_required = "orders.take_orders"
    template_name = "orders/substitute.html"
    form_class = SubstituteForm

    @cached_property
    def line(self) -> OrderLine:
        for line in self.order.lines.all():
            if line.pk == self.kwargs["pk"]:
                return line
        raise Http404

    def get_form_kwargs(self):
        kwargs = super().get_form_kwargs()
        return {**kwargs, "order": self.order, "line": self.line, "products": stock.products()}

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "line": self.line}

    def form_valid(self, form):
        self.goods = form.goods
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Order:
        return changes.substitute(
            order=self.order,
            line=self.line.pk,
            unit_price=data["unit_price"],
            reason=data["reason"],
            seen=data["seen"],
            over_limit=data["over_limit"],
            moisture_is_right=data["moisture_is_right"],
            substituted_by=person_of(self.request),
            key=data["key"],
            **self.goods,
        )

    def done_message(self, made: Order) -> str:
        return _("Other goods are put in place. %(order)s comes to %(total)s before tax now.") % {
            "order": made.number,
            "total": words.money(made.total_cents),
        }


class ReserveMissingView(OrderActView):
    permission_required = "orders.take_orders"
    template_name = "orders/reserve_missing.html"
    form_class = ActForm

    def act(self, data: dict[str, Any]) -> Order:
        return changes.reserve_missing(
            order=self.order, reserved_by=person_of(self.request), key=data["key"]
        )

    def done_message(self, made: Order) -> str:
        return _("All goods of order %(order)s are reserved again.") % {"order": made.number}


class QuoteDeclineView(OpenQuoteActView):
    permission_required = "orders.quote_drums"
    template_name = "orders/end_quote.html"
    form_class = ReasonForm
    extra_context = {"is_declined": True}

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.decline(
            order=self.order,
            declined_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is declined.") % {"order": made.number}


class QuoteWithdrawView(OpenQuoteActView):
    permission_required = "orders.quote_drums"
    template_name = "orders/end_quote.html"
    form_class = ReasonForm
    extra_context = {"is_declined": False}

    def act(self, data: dict[str, Any]) -> Order:
        return quotes.withdraw(
            order=self.order,
            withdrawn_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Order) -> str:
        return _("Quote %(order)s is withdrawn.") % {"order": made.number}

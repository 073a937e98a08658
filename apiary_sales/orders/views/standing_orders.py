"""Standing orders: set up, changed, paused, and the orders of a day confirmed."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import ValidationError
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.forms import trade as forms
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import standing_orders as found
from apiary_sales.orders.services import standing_orders
from apiary_sales.orders.services.standing_orders import DueOrder
from apiary_sales.orders.trade_models import StandingOrder, StandingOrderDay
from apiary_sales.orders.views.trade import TradeActView
from apiary_sales.pricing.models import priced_products
from inventory.shared.forms.fields import DayField
from inventory.shared.paging import page_of
from inventory.shared.people import person_of

DAYS_SHOWN = 20


@sees_buyers
@require_safe
def standing_list(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    page = page_of(request, found.listed())
    rows = [(each, found.next_day(each, today)) for each in page]
    return render(request, "orders/trade/standing_list.html", {"rows": rows, "page": page})


@sees_buyers
@require_safe
def standing_detail(request: HttpRequest, pk: int) -> HttpResponse:
    standing = standing_of(pk)
    return render(
        request,
        "orders/trade/standing.html",
        {
            "standing": standing,
            "next_day": found.next_day(standing, timezone.localdate()),
            "days": found.days(standing)[:DAYS_SHOWN],
        },
    )


@permission_required("orders.take_orders", raise_exception=True)
@require_POST
def standing_pause(request: HttpRequest, pk: int) -> HttpResponse:
    """Pause a standing order, or resume one that is paused."""
    standing = standing_of(pk)
    made = standing_orders.pause(standing=standing, is_paused=not standing.is_paused)
    said = _("The standing order is paused.") if made.is_paused else _("It is resumed.")
    messages.success(request, said)
    return HttpResponseRedirect(standing_url(made))


class StandingCreateView(TradeActView):
    permission_required = "orders.take_orders"
    form_class = forms.StandingOrderForm
    template_name = "orders/trade/standing_form.html"
    heading = gettext_lazy("New standing order")
    lead = gettext_lazy(
        "It proposes an order for each of its days. Nothing is reserved until you confirm it."
    )
    button = gettext_lazy("Save the standing order")

    def get_initial(self) -> dict[str, Any]:
        return {"customer": self.request.GET.get("customer")}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "products": list(priced_products())}

    def act(self, data: dict[str, Any]) -> StandingOrder:
        names = ("customer", "channel", *CHANGED, "key")
        return standing_orders.set_up(
            **{name: data[name] for name in names},
            lines=self.form.lines,
            created_by=person_of(self.request),
        )

    def done_message(self, made: StandingOrder) -> str:
        return _("The standing order is saved.")

    def back_url(self) -> str:
        return reverse("orders:standing_list")

    def next_url(self, made: StandingOrder) -> str:
        return standing_url(made)


CHANGED = ("rhythm", "starts_on", "ends_on", "customer_reference", "note")


class StandingActView(TradeActView):
    """An act on one standing order."""

    permission_required = "orders.take_orders"

    def prepare(self) -> None:
        self.standing = standing_of(self.kwargs["pk"])

    def back_url(self) -> str:
        return standing_url(self.standing)


class StandingChangeView(StandingActView):
    form_class = forms.StandingOrderForm
    template_name = "orders/trade/standing_form.html"
    heading = gettext_lazy("Change the standing order")
    lead = gettext_lazy("Orders that were confirmed stay as they are.")
    button = gettext_lazy("Save the standing order")

    def edited(self) -> Model:
        return self.standing

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [self.standing.lines.all()]

    def get_initial(self) -> dict[str, Any]:
        return {name: getattr(self.standing, name) for name in CHANGED}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "products": list(priced_products()),
            "lines": self.standing.lines.all(),
            "is_new": False,
        }

    def act(self, data: dict[str, Any]) -> StandingOrder:
        return standing_orders.change(
            standing=self.standing,
            lines=self.form.lines,
            **{name: data[name] for name in CHANGED},
        )

    def done_message(self, made: StandingOrder) -> str:
        return _("The standing order is saved.")


class LeaveOutView(StandingActView):
    form_class = forms.LeaveOutForm
    heading = gettext_lazy("Leave out a day")
    lead = gettext_lazy("No order is proposed for this day.")
    button = gettext_lazy("Leave it out")

    def get_initial(self) -> dict[str, Any]:
        return {"due_on": self.request.GET.get("due_on")}

    def act(self, data: dict[str, Any]) -> StandingOrderDay:
        return standing_orders.leave_out(
            standing=self.standing, decided_by=person_of(self.request), **data
        )

    def done_message(self, made: StandingOrderDay) -> str:
        return _("This day is left out.")


class ConfirmView(TradeActView):
    """The orders that are proposed for a day, taken in one step."""

    permission_required = "orders.take_orders"
    form_class = forms.ConfirmForm
    template_name = "orders/trade/confirm.html"
    heading = gettext_lazy("Orders to confirm")
    button = gettext_lazy("Take these orders")

    @cached_property
    def day(self) -> date:
        asked = self.request.GET.get("day", "")
        day = DayField(required=False)
        try:
            return day.clean(asked) or timezone.localdate()
        except ValidationError:
            return timezone.localdate()

    @cached_property
    def proposals(self) -> list[found.Proposal]:
        return found.proposals(self.day)

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "proposals": self.proposals}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "day": self.day}

    def act(self, data: dict[str, Any]) -> list[Order]:
        chosen = self.form.chosen(data)
        return standing_orders.confirm(
            due=[DueOrder(each.standing, each.due_on, each.lines) for each in chosen],
            over_limit=data["over_limit"],
            confirmed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: list[Order]) -> str:
        return ngettext(
            "%(count)s order is taken, and its goods are reserved.",
            "%(count)s orders are taken, and their goods are reserved.",
            len(made),
        ) % {"count": len(made)}

    def back_url(self) -> str:
        return reverse("orders:standing_list")

    def next_url(self, made: Any) -> str:
        return reverse("orders:selling")


def standing_of(pk: int) -> StandingOrder:
    return get_object_or_404(found.listed(), pk=pk)


def standing_url(standing: StandingOrder) -> str:
    return reverse("orders:standing", args=[standing.pk])

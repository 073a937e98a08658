"""Pages of what selling takes from the price, and of what a season's honey cost."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from apiary_sales.pricing.forms.costs import (
    ChannelCostForm,
    ExpenseForm,
    FillingTimesForm,
    LotCostForm,
)
from apiary_sales.pricing.models import ChannelCost, FillingTime, SeasonExpense
from apiary_sales.pricing.queries import costs as read
from apiary_sales.pricing.queries import seasons as read_seasons
from apiary_sales.pricing.rules.costs import Book
from apiary_sales.pricing.services import channels, filling_times, seasons
from inventory.bottling.services import costs
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.models import House
from inventory.shared.paging import page_of
from inventory.shared.views import ActView
from inventory.stock.models import Lot, ProductionSettings

manages_prices = permission_required("pricing.manage_prices", raise_exception=True)


@manages_prices
def selling_costs(request: HttpRequest) -> HttpResponse:
    book = read.book(timezone.localdate())
    return render(
        request,
        "pricing/selling_costs.html",
        {
            "channels": [
                book.channels.get(channel.value) or ChannelCost(channel=channel.value)
                for channel in ChannelCost.Channel
            ],
            "products": [(product, book.fill(product)) for product in book.products],
            "labour_cents_per_hour": book.labour_cents_per_hour,
        },
    )


class ChannelCostSetView(ActView):
    """Set what one channel takes from the price."""

    permission_required = "pricing.manage_prices"
    form_class = ChannelCostForm
    template_name = "pricing/channel_set.html"

    @cached_property
    def channel(self) -> ChannelCost:
        name = self.kwargs["channel"]
        if name not in ChannelCost.Channel.values:
            raise Http404
        return ChannelCost.objects.filter(channel=name).first() or ChannelCost(channel=name)

    def edited(self) -> Model:
        return self.channel

    def get_initial(self) -> dict[str, Any]:
        names = ("discount_percent", "card_percent", "piece_cents", "per_pound")
        return {name: getattr(self.channel, name) for name in names}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "channel": self.channel.channel}

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(channel=self.channel, **kwargs)

    def act(self, data: dict[str, Any]):
        return channels.set_cost(channel=self.channel.channel, **data)

    def done_message(self, made) -> str:
        return _("The cost of selling by “%(channel)s” is saved.") % {
            "channel": made.get_channel_display()
        }

    def next_url(self, made) -> str:
        return reverse("pricing:selling_costs")


class FillingTimesSetView(ActView):
    """Set the minutes of work on one piece of each product."""

    permission_required = "pricing.manage_prices"
    form_class = FillingTimesForm
    template_name = "pricing/filling_times.html"

    @cached_property
    def book(self) -> Book:
        return read.book(timezone.localdate())

    def edited(self) -> Model:
        return House.current()

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [FillingTime.objects.all()]

    def get_initial(self) -> dict[str, Any]:
        return {product.code: self.book.minutes.get(product.pk) for product in self.book.products}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "products": self.book.products}

    def act(self, data: dict[str, Any]):
        minutes = {product: data[product.code] for product in self.book.products}
        filling_times.set_minutes(minutes)
        return minutes

    def done_message(self, made) -> str:
        return _("The minutes for one piece are saved.")

    def next_url(self, made) -> str:
        return reverse("pricing:selling_costs")


@manages_prices
def honey_cost(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "pricing/honey_cost.html",
        {
            "seasons": read_seasons.all_seasons(),
            "cost_method": ProductionSettings.current().get_cost_method_display(),
        },
    )


@manages_prices
def season(request: HttpRequest, year: int) -> HttpResponse:
    found = read_seasons.season(year)
    return render(
        request,
        "pricing/season.html",
        {
            "season": found,
            "page": page_of(request, found.lots),
            "by_category": read_seasons.by_category(year),
            "comb": read_seasons.comb(year),
        },
    )


class ExpenseAddView(ActView):
    """Add an expense of a season."""

    permission_required = "pricing.manage_prices"
    form_class = ExpenseForm
    template_name = "pricing/expense.html"

    def get_initial(self) -> dict[str, Any]:
        return {"season": self.request.GET.get("season") or timezone.localdate().year}

    def act(self, data: dict[str, Any]):
        return seasons.add_expense(**data)

    def done_message(self, made: SeasonExpense) -> str:
        return _("%(amount)s for %(category)s is entered for %(season)s.") % {
            "amount": words.money(made.amount_cents),
            "category": made.get_category_display(),
            "season": made.season,
        }

    def next_url(self, made: SeasonExpense) -> str:
        return reverse("pricing:season", args=[made.season])

    def repeat_url(self, made: SeasonExpense) -> str:
        return self.next_url(made)


@manages_prices
@require_POST
def remove_expense(request: HttpRequest, pk: int) -> HttpResponse:
    expense = get_object_or_404(SeasonExpense, pk=pk)
    seasons.remove_expense(expense)
    messages.success(
        request,
        _("%(amount)s for %(category)s is removed.")
        % {
            "amount": words.money(expense.amount_cents),
            "category": expense.get_category_display(),
        },
    )
    return redirect("pricing:season", expense.season)


@manages_prices
@require_POST
def spread(request: HttpRequest, year: int) -> HttpResponse:
    try:
        changed = seasons.spread(year)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _changed_message(changed))
    return redirect("pricing:season", year)


class LotCostSetView(ActView):
    """Set what one extraction or purchase cost in all."""

    permission_required = "pricing.manage_prices"
    form_class = LotCostForm
    template_name = "pricing/lot_cost.html"

    @cached_property
    def lot(self) -> Lot:
        with_cost = Lot.objects.filter(kind__in=costs.HAVE_A_COST, owner=None)
        return get_object_or_404(with_cost, code=self.kwargs["code"])

    def edited(self) -> Model:
        return self.lot

    def get_initial(self) -> dict[str, Any]:
        return {"cost": self.lot.cost_cents}

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, **kwargs)

    def act(self, data: dict[str, Any]):
        return costs.set_lot_cost(lot=self.lot, cost_cents=data["cost"])

    def done_message(self, made: list[Lot]) -> str:
        return _changed_message(made)

    def next_url(self, made: list[Lot]) -> str:
        if self.lot.kind == Lot.Kind.BOUGHT:
            return reverse("inventory:lot_detail", args=[self.lot.code])
        return reverse("pricing:season", args=[self.lot.season])


def _changed_message(changed: list[Lot]) -> str:
    if not changed:
        return _("Nothing was changed: the lots have these costs already.")
    return ngettext(
        "The cost of %(count)d lot is worked out again: %(lots)s.",
        "The cost of %(count)d lots is worked out again: %(lots)s.",
        len(changed),
    ) % {"count": len(changed), "lots": _some(changed)}


def _some(lots: list[Lot], most: int = 6) -> str:
    codes = [lot.code for lot in lots]
    return ", ".join(codes if len(codes) <= most else [*codes[:most], "…"])

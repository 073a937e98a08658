"""Pages of market days: the list, one day, and each act on it."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from apiary_sales.billing import market_papers
from apiary_sales.billing.forms import market_days as forms
from apiary_sales.billing.models import Expense, ExpenseCategory, MarketDay
from apiary_sales.billing.queries import market_days as found
from apiary_sales.billing.services import market_days, market_unloading
from inventory.bottling.models import Product
from inventory.shared import documents, words
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place

SELL = "orders.sell_at_stand"
MANAGE_PURCHASES = "billing.manage_purchases"


@require_GET
@permission_required(SELL, raise_exception=True)
def market_day_list(request: HttpRequest) -> HttpResponse:
    """Show the market days to come, and what those before brought, market by market."""
    context = {"to_come": found.to_come(), "markets": found.by_market(found.past())}
    return render(request, "billing/market/days.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def market_day(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one market day: its load list, its result, and what is to be done next."""
    shown = found.with_its_market(pk)
    if shown is None:
        raise Http404
    result, others = shown
    day = result.market_day
    context = {
        **market_papers.load_list_context(day),
        "result": result,
        "is_loaded": day.is_loaded,
        "is_to_come": day.day > timezone.localdate(),
        "history": next(iter(found.by_market(others)), None),
    }
    return render(request, "billing/market/day.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def load_list_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    day = market_day_of(pk)
    return documents.answer(
        request,
        name=_("Load list %(market)s %(day)s.pdf") % {"market": day.market, "day": day.day},
        make=lambda: market_papers.load_list(day),
    )


class MarketActView(ActView):
    """An act on one market day; a subclass says its heading and its button."""

    permission_required = SELL
    template_name = "billing/market/act.html"
    heading: Any = ""
    lead: Any = ""
    button: Any = ""

    def prepare(self) -> None:
        self.market_day = market_day_of(self.kwargs["pk"])

    def next_url(self, made: Any) -> str:
        return market_day_url(self.market_day)

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            market_day=self.market_day,
            act_heading=self.heading,
            act_lead=self.lead,
            button=self.button,
            back_url=market_day_url(self.market_day),
            **kwargs,
        )


class PlanMarketDayView(ActView):
    permission_required = SELL
    form_class = forms.MarketPlanForm
    template_name = "billing/market/plan.html"

    def get_initial(self) -> dict[str, Any]:
        """Begin with the last market day: markets are mostly alike."""
        last = found.market_days().filter(cancelled_at=None).first()
        shelf = Place.objects.filter(kind=Place.Kind.SHELF, is_active=True).order_by("code").first()
        if last is None:
            return {"source": shelf.code if shelf else None}
        return {
            "market": last.market,
            "place": last.place.code,
            "opens_at": last.opens_at,
            "closes_at": last.closes_at,
            "source": last.source.code,
            "people": last.people,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            act_heading=_("Plan a market day"), back_url=reverse("billing:market_days"), **kwargs
        )

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.plan(planned_by=person_of(self.request), **data)

    def done_message(self, made: MarketDay) -> str:
        return _("The market day is planned. Say now what is to be loaded.")

    def next_url(self, made: MarketDay) -> str:
        return reverse("billing:market_day_list_goods", args=[made.pk])

    repeat_url = next_url


class ChangeMarketDayView(MarketActView):
    form_class = forms.MarketPlanForm
    template_name = "billing/market/plan.html"
    heading = gettext_lazy("Change the market day")

    def edited(self) -> Model:
        return self.market_day

    def get_initial(self) -> dict[str, Any]:
        day = self.market_day
        names = ("market", "day", "opens_at", "closes_at", "people", "note")
        return {
            **{name: getattr(day, name) for name in names},
            "place": day.place.code,
            "source": day.source.code,
        }

    def act(self, data: dict[str, Any]) -> MarketDay:
        del data["key"]
        return market_days.change(market_day=self.market_day, **data)

    def done_message(self, made: MarketDay) -> str:
        return _("Saved.")


class ListGoodsView(MarketActView):
    """Say what is to be loaded; what was sold on days like it is suggested."""

    form_class = forms.LoadForm
    template_name = "billing/market/load.html"
    heading = gettext_lazy("What to load")
    lead = gettext_lazy(
        "The suggestion is what was sold on average and a fifth more, in whole cases. Nothing "
        "moves yet."
    )
    button = gettext_lazy("Save the load list")

    @cached_property
    def products(self) -> list[Product]:
        return found.products_to_load(timezone.localdate())

    @cached_property
    def suggested(self) -> dict[Product, Any]:
        day = self.market_day
        return found.suggestions(market=day.market, place=day.place, day=day.day)

    def pieces(self) -> dict[int, int]:
        wanted = {line.product_id: line.wanted for line in self.market_day.lines.all()}
        if any(wanted.values()):
            return {product: pieces for product, pieces in wanted.items() if pieces}
        return {
            product.pk: suggestion.pieces
            for product, suggestion in self.suggested.items()
            if suggestion.pieces
        }

    def edited(self) -> Model | None:
        return self.market_day

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [self.market_day.lines.all()]

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "products": self.products,
            "free": found.free_at(self.market_day.source, self.products),
            "suggested": self.suggested,
            "pieces": self.pieces(),
        }

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.set_load_list(market_day=self.market_day, lines=self.form.lines)

    def done_message(self, made: MarketDay) -> str:
        return _("The load list is saved.")


class LoadView(ListGoodsView):
    heading = gettext_lazy("Load")
    lead = gettext_lazy(
        "Enter what is really loaded. All of it is carried at once, the oldest lots first."
    )
    button = gettext_lazy("It is loaded")

    def edited(self) -> None:
        """Change nothing that was saved: what is loaded is counted, whatever was planned."""

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.load(
            market_day=self.market_day,
            lines=self.form.lines,
            loaded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: MarketDay) -> str:
        pieces = sum(line.pieces for line in self.form.lines)
        return _("%(pieces)s loaded for %(market)s.") % {
            "pieces": words.pieces(pieces),
            "market": made.market,
        }


class UndoLoadView(MarketActView):
    form_class = forms.KeyForm
    heading = gettext_lazy("Undo the loading")
    lead = gettext_lazy("The goods are carried back in the books. They can be loaded again.")
    button = gettext_lazy("Undo the loading")

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.undo_load(
            market_day=self.market_day, undone_by=person_of(self.request), key=data["key"]
        )

    def done_message(self, made: MarketDay) -> str:
        return _("The loading is undone.")


class UnloadView(MarketActView):
    form_class = forms.UnloadForm
    template_name = "billing/market/unload.html"
    heading = gettext_lazy("What came home")
    lead = gettext_lazy("Count each product. What is missing beside the sales is asked about.")
    button = gettext_lazy("Enter what came home")

    def get_initial(self) -> dict[str, Any]:
        return {"target": self.market_day.source.code}

    def get_form_kwargs(self) -> dict[str, Any]:
        day = self.market_day
        is_over = day.day < timezone.localdate()
        there = found.there(day.place, day.day if is_over else None)
        if is_over:
            # What came there since is counted too: the service asks for all that is there now.
            there |= {
                product: there.get(product, 0)
                for product in found.there(day.place)
                if product not in there
            }
        for line in day.lines.all():
            there.setdefault(line.product, 0)
        return {
            **super().get_form_kwargs(),
            "there": dict(sorted(there.items(), key=lambda row: row[0].name)),
            "may_exceed": self.request.user.has_perm("inventory.count_beyond_made"),
        }

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_unloading.unload(
            market_day=self.market_day,
            lines=self.form.lines(),
            target=data["target"],
            differences_are_right=data["differences_are_right"],
            surplus_reason=data.get("surplus_reason", ""),
            unloaded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: MarketDay) -> str:
        return _("What came home is entered.")


class UndoUnloadView(MarketActView):
    form_class = forms.WhyForm
    heading = gettext_lazy("Undo what came home")
    lead = gettext_lazy(
        "The goods are at the market again in the books, and sales that were entered with it are "
        "taken back. Enter then again what came home."
    )
    button = gettext_lazy("Undo it")

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_unloading.undo_unload(
            market_day=self.market_day,
            undone_by=person_of(self.request),
            reason=data["reason"],
            key=data["key"],
        )

    def done_message(self, made: MarketDay) -> str:
        return _("It is undone. Enter what came home again.")


class MarketCostView(MarketActView):
    form_class = forms.MarketCostForm
    heading = gettext_lazy("Fee or other cost")
    lead = gettext_lazy("It is an expense of the house as any other, and counts for this day.")
    button = gettext_lazy("Enter the cost")

    def get_form_kwargs(self) -> dict[str, Any]:
        # Only the office pays by other means than the cash of the stand.
        only_cash = not self.request.user.has_perm(MANAGE_PURCHASES)
        return {**super().get_form_kwargs(), "only_cash": only_cash}

    def get_initial(self) -> dict[str, Any]:
        return {
            "category": ExpenseCategory.SELLING,
            "payee": self.market_day.market,
            "spent_on": min(self.market_day.day, timezone.localdate()),
        }

    def act(self, data: dict[str, Any]) -> Expense:
        return market_days.enter_cost(
            market_day=self.market_day,
            payee=data["payee"],
            category=data["category"],
            amount_cents=data["amount"],
            tax_cents=data["tax"] or 0,
            paid_by=data["paid_by"],
            spent_on=data["spent_on"],
            note=data["note"],
            entered_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Expense) -> str:
        return _("%(amount)s for %(category)s, paid to %(payee)s, is entered.") % {
            "amount": words.money(made.amount_cents),
            "category": made.get_category_display(),
            "payee": made.payee,
        }


class CloseMarketDayView(MarketActView):
    form_class = forms.MarketCloseForm
    heading = gettext_lazy("Close the day")
    lead = gettext_lazy("Sales that come in late count all the same.")
    button = gettext_lazy("Close the day")

    def get_initial(self) -> dict[str, Any]:
        minutes = self.market_day.labour_minutes
        return {
            "hours": round(Decimal(minutes) / 60, 2).normalize() if minutes else None,
            "note": self.market_day.note,
        }

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.close(
            market_day=self.market_day,
            labour_minutes=self.form.labour_minutes(),
            note=data["note"],
        )

    def done_message(self, made: MarketDay) -> str:
        return _("The market day is closed.")


class CancelMarketDayView(MarketActView):
    form_class = forms.KeyForm
    heading = gettext_lazy("Cancel the market day")
    lead = gettext_lazy("It stays readable, and another market can be planned for the day.")
    button = gettext_lazy("Cancel the market day")

    def act(self, data: dict[str, Any]) -> MarketDay:
        return market_days.cancel(market_day=self.market_day)

    def done_message(self, made: MarketDay) -> str:
        return _("The market day is cancelled.")


def market_day_of(pk: int) -> MarketDay:
    return get_object_or_404(found.market_days(), pk=pk)


def market_day_url(day: MarketDay) -> str:
    return reverse("billing:market_day", args=[day.pk])

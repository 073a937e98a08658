"""What was sold without a cost, the act that costs it late, and the record of such acts."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from apiary_sales.orders import late_costs as sold
from apiary_sales.orders.forms.late_costs import LateCostForm, LateCostUndoForm, SeasonAskedForm
from apiary_sales.orders.late_cost_models import LateCosting
from apiary_sales.orders.queries import late_costs as read
from apiary_sales.orders.services import late_costs
from inventory.shared import words
from inventory.shared.models import BooksLock
from inventory.shared.paging import page_of
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.queries import honey

PRICES = "pricing.manage_prices"


class SoldWithoutCostView(ActView):
    """Show what was sold without a cost, and cost what is known by now."""

    permission_required = PRICES
    form_class = LateCostForm
    template_name = "orders/late_costs/sold.html"

    def prepare(self) -> None:
        self.asked = SeasonAskedForm(self.request.GET, seasons=honey.seasons())
        self.season = self.asked.cleaned_data.get("season") if self.asked.is_valid() else None

    def get_initial(self) -> dict[str, Any]:
        return {"season": self.season}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        found = sold.sold_without_cost(self.season)
        page = page_of(self.request, found.lines)
        return super().get_context_data(
            asked=self.asked,
            is_filtered=self.season is not None,
            season=self.season,
            found=found,
            page=page,
            rows=read.rows(list(page)),
            costings=read.costings()[:5],
            closed_until=BooksLock.objects.locked_until(),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> LateCosting:
        return late_costs.cost(
            season=data["season"],
            expected_total_cents=data["expected_total_cents"],
            expected_lines=data["expected_lines"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: LateCosting) -> str:
        costs = made.lines.values_list("cost_cents", flat=True)
        return ngettext(
            "%(count)d line that was sold without a cost has one now: %(cost)s.",
            "%(count)d lines that were sold without a cost have one now: %(cost)s in all.",
            len(costs),
        ) % {"count": len(costs), "cost": words.money(sum(costs))}

    def next_url(self, made: LateCosting) -> str:
        return reverse("orders:late_costing", args=[made.pk])

    def repeat_url(self, made: LateCosting) -> str:
        return self.next_url(made)


@permission_required(PRICES, raise_exception=True)
@require_safe
def late_costing_list(request: HttpRequest) -> HttpResponse:
    return render(
        request, "orders/late_costs/list.html", {"page": page_of(request, read.costings())}
    )


@permission_required(PRICES, raise_exception=True)
@require_safe
def late_costing(request: HttpRequest, pk: int) -> HttpResponse:
    costing = get_object_or_404(read.costings(), pk=pk)
    page = page_of(request, read.lines_of(costing))
    return render(request, "orders/late_costs/costing.html", {"costing": costing, "page": page})


class LateCostingUndoView(ActView):
    """Let what one act costed be without a cost again."""

    permission_required = PRICES
    form_class = LateCostUndoForm
    template_name = "orders/late_costs/undo.html"

    @cached_property
    def costing(self) -> LateCosting:
        return get_object_or_404(read.costings(), pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            costing=self.costing, closed_until=BooksLock.objects.locked_until(), **kwargs
        )

    def act(self, data: dict[str, Any]) -> LateCosting:
        return late_costs.undo(
            costing=self.costing, recorded_by=person_of(self.request), key=data["key"]
        )

    def done_message(self, made: LateCosting) -> str:
        return _("Undone. What was costed then has no cost again.")

    def next_url(self, made: LateCosting) -> str:
        return reverse("orders:late_costing", args=[self.costing.pk])

    def repeat_url(self, made: LateCosting) -> str:
        return self.next_url(made)

"""Pages of blend plans: the list, one plan, its weights, its worksheet, and carrying it out."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared import documents, words
from inventory.shared.people import person_of, sees_costs
from inventory.shared.views import ActView
from inventory.stock import papers
from inventory.stock.forms.blend_plans import BlendCarryOutForm, BlendDropForm, BlendWeightsForm
from inventory.stock.models import BlendPlan, Posting
from inventory.stock.queries import blend_plans as queries
from inventory.stock.services import blend_plans, honey
from inventory.stock.services.honey import HoneyPreview
from inventory.stock.views.acts import HoneyActView

MOVE_HONEY = "inventory.move_honey"
PLANS_PER_PAGE = 30


@permission_required(MOVE_HONEY, raise_exception=True)
def blend_plan_list(request: HttpRequest) -> HttpResponse:
    """The blend plans, newest first."""
    page = Paginator(queries.plans(), PLANS_PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "inventory/honey/blend_plan_list.html", {"page": page})


@permission_required(MOVE_HONEY, raise_exception=True)
def blend_plan_detail(request: HttpRequest, number: str) -> HttpResponse:
    """One plan: what is poured together, what it makes, and what was asked of it."""
    plan = get_object_or_404(queries.plans(), number=number)
    context = {
        "plan": plan,
        "outcome": queries.outcome_of(plan),
        "sees_costs": sees_costs(request),
    }
    return render(request, "inventory/honey/blend_plan_detail.html", context)


@permission_required(MOVE_HONEY, raise_exception=True)
def blend_plan_worksheet(request: HttpRequest, number: str) -> HttpResponse:
    """The plan on paper, with empty fields for the weights on the scale."""
    plan = get_object_or_404(queries.plans(), number=number)
    return documents.serve(
        request,
        name=f"blend-{plan.number}.pdf",
        template_name=papers.BLEND_WORKSHEET,
        context=papers.blend_worksheet_context(plan),
    )


class BlendPlanChangeView(ActView):
    """Other weights for a draft."""

    permission_required = MOVE_HONEY
    form_class = BlendWeightsForm
    template_name = "inventory/honey/blend_plan_change.html"

    def prepare(self) -> None:
        self.plan = get_object_or_404(queries.plans(), number=self.kwargs["number"])

    def edited(self) -> Model:
        return self.plan

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [self.plan.lines.all()]

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"plan": self.plan}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(plan=self.plan, **kwargs)

    def act(self, data: dict[str, Any]) -> BlendPlan:
        return blend_plans.change(plan=self.plan, sources=data["sources"])

    def done_message(self, made: BlendPlan) -> str:
        return _("Blend plan %(number)s has new weights.") % {"number": made.number}

    def next_url(self, made: BlendPlan) -> str:
        return plan_url(made)


class BlendPlanCarryOutView(HoneyActView):
    """Pour what the plan says, with the weights that were really poured."""

    permission_required = MOVE_HONEY
    form_class = BlendCarryOutForm
    template_name = "inventory/honey/blend_plan_carry_out.html"

    def prepare(self) -> None:
        self.plan = get_object_or_404(queries.plans(), number=self.kwargs["number"])

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"plan": self.plan}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(plan=self.plan, **kwargs)

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_blend(
            sources=data["sources"], target=self.plan.target, poured_on=data["poured_on"]
        )

    def act(self, data: dict[str, Any]) -> Posting:
        return blend_plans.carry_out(
            plan=self.plan,
            sources=data["sources"],
            poured_on=data["poured_on"],
            note=data["note"],
            carried_out_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        poured = sum(line.poured_grams or 0 for line in self.plan.lines.all().order_by("pk"))
        return _("%(weight)s poured into %(target)s.") % {
            "weight": words.weight(poured, 1),
            "target": self.plan.target.name,
        }

    def next_url(self, made: Posting) -> str:
        return plan_url(self.plan)


class BlendPlanDropView(ActView):
    """Give up a draft."""

    permission_required = MOVE_HONEY
    form_class = BlendDropForm
    template_name = "inventory/honey/blend_plan_drop.html"

    def prepare(self) -> None:
        self.plan = get_object_or_404(queries.plans(), number=self.kwargs["number"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(plan=self.plan, **kwargs)

    def act(self, data: dict[str, Any]) -> BlendPlan:
        return blend_plans.drop(
            plan=self.plan, dropped_by=person_of(self.request), reason=data["reason"]
        )

    def done_message(self, made: BlendPlan) -> str:
        return _("Blend plan %(number)s is dropped.") % {"number": made.number}

    def next_url(self, made: BlendPlan) -> str:
        return reverse("inventory:blend_plan_list")


def plan_url(plan: BlendPlan) -> str:
    return reverse("inventory:blend_plan", args=[plan.number])

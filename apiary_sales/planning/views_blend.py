"""The page of the blend planner: what is wanted, the blend of least value, its draft on request."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.generic import TemplateView

from apiary_sales.planning import blend_sentences
from apiary_sales.planning.blend_answer import BlendSearch
from apiary_sales.planning.blend_sentences import SaidWayOut
from apiary_sales.planning.forms_blend import BlendSaveForm, BlendWishForm, typed
from apiary_sales.planning.queries import blend_books
from apiary_sales.planning.rules.blend import BlendQuestion
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.people import person_of
from inventory.shared.services import sent_forms
from inventory.stock.blends import BlendLimits
from inventory.stock.forms.fields import as_weight
from inventory.stock.models import BlendPlan
from inventory.stock.services import blend_plans

# The field of the form that each limit is typed in.
FIELD_OF_LIMIT = {
    "colour_min": "colour_min",
    "colour_max": "colour_max",
    "moisture_min": "moisture_min",
    "moisture_max": "moisture_max",
    "vessels_max": "vessels_max",
    "grams_min": "weight",
    "grams_max": "weight_max",
}


@dataclass(frozen=True)
class LinkedWayOut:
    """A way out with the address that asks for it; empty where none does."""

    sentence: str
    query: str


class BlendPlannerView(PermissionRequiredMixin, TemplateView):
    """Work out the blend from the address (GET), and keep it as a draft (POST)."""

    permission_required = ("inventory.move_honey", "pricing.manage_prices")
    raise_exception = True
    template_name = "planning/blend.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        books = blend_books.read(timezone.localdate())
        asked = self.request.GET
        form = BlendWishForm(asked if "weight" in asked else None, books=books)
        question = search = None
        if form.is_bound and form.is_valid():
            question = BlendQuestion(books, form.wish())
            search = BlendSearch.of(question)
        return super().get_context_data(
            books=books,
            form=form,
            question=question,
            search=search,
            found=search.found if search else None,
            ways=_linked(search.ways, asked, form.limits()) if search and search.ways else [],
            left_out=blend_sentences.left_out(question) if question else [],
            two_measures=blend_sentences.two_measures(question) if question else "",
            set_aside=blend_sentences.set_aside(question) if question else [],
            target=question.wish.target if question else None,
            limits=form.limits() if question else None,
            **{"save_form": BlendSaveForm(), **kwargs},
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        """Keep the blend that the page showed, as it was shown, as a draft."""
        books = blend_books.read(timezone.localdate())
        wish_form = BlendWishForm(request.GET, books=books)
        form = BlendSaveForm(request.POST)
        if not (wish_form.is_valid() and form.is_valid()):
            return self._again(form)
        data = form.cleaned_data
        target = wish_form.cleaned_data["target"]
        if target is None:
            form.add_error(None, _("Choose the vessel to blend into, then save the plan."))
            return self._again(form)
        try:
            with transaction.atomic():
                plan = blend_plans.draft(
                    target=target,
                    sources=data["sources"],
                    limits=wish_form.limits(),
                    buyer=data["buyer"],
                    note=data["note"],
                    planned_by=person_of(request),
                    key=data["key"],
                )
                sent_forms.keep(
                    person=person_of(request),
                    key=data["key"],
                    address=request.path_info,
                    next_url=_address(plan),
                )
        except AlreadyRecorded as repeat:
            messages.info(request, repeat.message)
            return HttpResponseRedirect(_address(repeat.made))
        except HouseError as error:
            form.refuse(error)
            return self._again(form)
        messages.success(
            request,
            _("Blend plan %(number)s is saved as a draft. No honey has moved yet.")
            % {"number": plan.number},
        )
        return HttpResponseRedirect(_address(plan))

    def _again(self, form: BlendSaveForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(save_form=form), status=422)


def _address(plan: Any) -> str:
    if isinstance(plan, BlendPlan):
        return reverse("inventory:blend_plan", args=[plan.number])
    return reverse("inventory:blend_plan_list")


def _linked(
    ways: Sequence[SaidWayOut], asked: QueryDict, limits: BlendLimits
) -> list[LinkedWayOut]:
    """Give each way out the address of the same question with that figure instead."""
    return [
        LinkedWayOut(way.sentence, _query(way, asked, limits) if way.is_figure else "")
        for way in ways
    ]


def _query(way: SaidWayOut, asked: QueryDict, limits: BlendLimits) -> str:
    query = asked.copy()
    field = FIELD_OF_LIMIT[way.limit]
    if way.limit in ("colour_min", "colour_max"):
        # A class has both ends; the other one stays as it was asked for.
        query["colour_class"] = ""
        query["colour_min"] = _or_empty(limits.colour_mm_min)
        query["colour_max"] = _or_empty(limits.colour_mm_max)
    figure = way.nearest
    if way.limit in ("grams_min", "grams_max"):
        figure, unit = as_weight(int(way.nearest))
        query[f"{field}_unit"] = unit
    query[field] = typed(Decimal(f"{figure.normalize():f}"))
    return query.urlencode()


def _or_empty(figure: Decimal | None) -> str:
    return "" if figure is None else typed(figure)

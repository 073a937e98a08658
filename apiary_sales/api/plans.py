"""Plans through the API: the bottling plan, when to stop bottling, the season, a price trial.

Each is worked out from the books and the figures that are sent, as its page does; nothing is kept.
"""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.readings import DecimalFigureField, ReadingApiView, refuse_errors
from apiary_sales.planning import (
    earnings_sentences,
    price_answer,
    price_sentences,
    season_sentences,
    sentences,
)
from apiary_sales.planning.asked import PlanForms
from apiary_sales.planning.forms import MONTHS_USUAL
from apiary_sales.planning.forms_earnings import EarningsForm
from apiary_sales.planning.forms_price import PriceTryForm, SalesPeriodForm, period_asked
from apiary_sales.planning.queries import earnings, price_books, season_books
from apiary_sales.planning.rules.earnings import Measure
from apiary_sales.planning.rules.season import question_of
from apiary_sales.planning.rules.stopping import Verdict
from apiary_sales.planning.views import PlanComparison
from apiary_sales.planning.views_season import season_advice, season_answer
from apiary_sales.pricing.models import ChannelCost

MANAGE_PRICES = "pricing.manage_prices"


def _sentences() -> serializers.ListField:
    return serializers.ListField(child=serializers.CharField())


# ------------------------------------------------------------------ the bottling plan


class PlannedFillSerializer(serializers.Serializer):
    """A run that the plan wants: so many pieces of a product from a vessel."""

    vessel = serializers.CharField(source="vessel.place.code")
    vessel_id = serializers.IntegerField(source="vessel.place.pk")
    lot = serializers.CharField(source="vessel.lot.code")
    lot_id = serializers.IntegerField(source="vessel.lot.pk")
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    pieces = serializers.IntegerField()
    grams = serializers.IntegerField()


class PlannedDrumsSerializer(serializers.Serializer):
    """Honey that the plan sells in drums."""

    vessels = serializers.SerializerMethodField()
    grams = serializers.IntegerField()
    drums = serializers.IntegerField()

    def get_vessels(self, row: Any) -> list[str]:
        return [vessel.place.code for vessel in row.vessels]


class PlannedPartSerializer(serializers.Serializer):
    """Pieces of a part that the plan uses, and how many of them are to be bought."""

    part = serializers.CharField(source="row.part.code")
    part_id = serializers.IntegerField(source="row.part.pk")
    used = serializers.IntegerField()
    bought = serializers.IntegerField()


class PlanLineSerializer(serializers.Serializer):
    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    how = serializers.CharField()
    cents = serializers.IntegerField()


class PlanOutcomeSerializer(serializers.Serializer):
    """What a plan fills, sells in drums and earns."""

    earns_cents = serializers.IntegerField(source="statement.total_cents")
    pieces = serializers.IntegerField()
    bulk_grams = serializers.IntegerField()
    left_grams = serializers.IntegerField()
    runs = PlannedFillSerializer(many=True)
    drums = PlannedDrumsSerializer(source="bulk", many=True)
    parts = PlannedPartSerializer(many=True)
    lines = PlanLineSerializer(source="statement.lines", many=True)


class PlanReasonSerializer(serializers.Serializer):
    """What one limit means for the plan, in words; `binds` where more of it would earn more."""

    label = serializers.CharField()  # type: ignore[assignment]
    there = serializers.CharField()
    used = serializers.CharField()
    sentence = serializers.CharField()
    binds = serializers.BooleanField()
    is_served = serializers.BooleanField()


class PlanComparisonSerializer(serializers.Serializer):
    """The best plan, beside selling all in drums and filling as before; null without a past."""

    best = PlanOutcomeSerializer()
    all_drums = PlanOutcomeSerializer()
    as_before = PlanOutcomeSerializer(allow_null=True)
    more_than_drums_cents = serializers.IntegerField()
    more_than_before_cents = serializers.IntegerField(allow_null=True)
    might_earn_more_cents = serializers.IntegerField()
    reasons = PlanReasonSerializer(many=True)


class BottlingPlanSerializer(serializers.Serializer):
    """The plan; null where `obstacle` says why there is none."""

    months = serializers.IntegerField()
    obstacle = serializers.CharField()
    notices = _sentences()
    plan = PlanComparisonSerializer(allow_null=True)


def _optional(name: str, says: str, kind: Any = OpenApiTypes.DECIMAL) -> OpenApiParameter:
    return OpenApiParameter(name, kind, description=f"{says} As the books have it when left out.")


class BottlingPlanApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(
        operation_id="bottling_plan",
        parameters=[
            OpenApiParameter("months", int, description="Jars to be sold in so many months."),
            OpenApiParameter("outlook", str, description="How to use past sales."),
            _optional("rate", "Money for an hour of work."),
            _optional("per_run", "Minutes that a run takes whatever its size."),
            _optional("run_cost", "Money that a run costs whatever its size."),
            _optional("least", "Pieces of the smallest run.", OpenApiTypes.INT),
        ],
        responses=BottlingPlanSerializer,
    )
    def get(self, request: Request) -> Response:
        """What to fill and what to sell in drums to earn most."""
        forms = PlanForms.filled(request.query_params.dict())
        # The page goes on with the usual outlook where another can't be; a program is told.
        refuse_errors(forms.typed_outlook)
        refuse_errors(forms.form)
        question = forms.question
        if question is None:
            raise ValidationError(_("No plan can be made of these figures."))
        obstacle = sentences.obstacle(question)
        told = {
            "months": forms.months,
            "obstacle": obstacle,
            "notices": sentences.notices(question),
            "plan": None if obstacle else PlanComparison.of(question),
        }
        return Response(BottlingPlanSerializer(told).data)


# ------------------------------------------------------------------ when to stop


class EarningFigureSerializer(serializers.Serializer):
    """What a product earns by one measure, and its rank by it."""

    measure = serializers.ChoiceField(Measure.choices)
    cents = serializers.IntegerField(allow_null=True)
    rank = serializers.IntegerField(allow_null=True)
    why = serializers.CharField()


class StoppingRowSerializer(serializers.Serializer):
    """A product in a channel: whether to fill more of it, and why."""

    product = serializers.CharField(source="row.earning.offer.product.code")
    product_id = serializers.IntegerField(source="row.earning.offer.product.pk")
    channel = serializers.ChoiceField(
        ChannelCost.Channel.choices, source="row.earning.offer.channel"
    )
    verdict = serializers.ChoiceField(Verdict.choices, source="row.verdict")
    ready_pieces = serializers.IntegerField(source="row.ready")
    fill_pieces = serializers.IntegerField(source="row.fills")
    wanted_pieces = serializers.IntegerField(source="row.demand.pieces", allow_null=True)
    still_pieces = serializers.IntegerField(source="row.still", allow_null=True)
    drum_price_to_stop = DecimalFigureField(
        4, source="row.earning.drum_price_to_stop", allow_null=True
    )
    sentence = serializers.CharField()
    demand = serializers.CharField()
    figures = EarningFigureSerializer(many=True)


class StoppingLimitSerializer(serializers.Serializer):
    """Something that there is only so much of."""

    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    needed = serializers.CharField()
    there = serializers.CharField()
    tenth_cents = serializers.IntegerField(allow_null=True)
    sentence = serializers.CharField()
    is_scarcest = serializers.BooleanField()


class WhenToStopSerializer(serializers.Serializer):
    """What to fill still and what no longer; empty where nothing has a price yet."""

    notices = _sentences()
    scarce_now = serializers.CharField()
    left_out = serializers.CharField()
    levels = serializers.CharField()
    measure = serializers.ChoiceField(Measure.choices, allow_null=True)
    limits = StoppingLimitSerializer(many=True)
    rows = StoppingRowSerializer(many=True)


class WhenToStopApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(
        operation_id="when_to_stop",
        parameters=[
            OpenApiParameter("months", int, description="Jars to be sold in so many months."),
            OpenApiParameter("hours", OpenApiTypes.DECIMAL, description="Hours for bottling."),
            OpenApiParameter("parts", str, description="`bought` where parts can be bought."),
            _optional("drum_price", "Of the house's unit of weight, in money."),
            _optional("expected", "Honey that still comes in, in the house's unit of weight."),
        ],
        responses=WhenToStopSerializer,
    )
    def get(self, request: Request) -> Response:
        """When to stop bottling, what earns most, and what is scarce now."""
        form = EarningsForm.asked(request.query_params.dict())
        refuse_errors(form)
        asked = form.cleaned_data
        found = earnings.read(timezone.localdate(), months=asked.get("months", MONTHS_USUAL))
        told: dict[str, Any] = {
            "notices": earnings_sentences.notices(found),
            "scarce_now": "",
            "left_out": "",
            "levels": "",
            "measure": None,
            "limits": [],
            "rows": [],
        }
        if any(offer.price_cents is not None for offer in found.books.offers):
            stopping = found.answer(
                hours=asked["hours"],
                drum_price=asked["drum_price"],
                expected_grams=asked["expected"],
                are_parts_bought=asked["parts"] == "bought",
            )
            rows = stopping.sorted_by(stopping.measure)
            told |= {
                "scarce_now": earnings_sentences.scarce_now(stopping),
                "left_out": earnings_sentences.left_out(stopping),
                "levels": earnings_sentences.levels(stopping),
                "measure": stopping.measure,
                "limits": earnings_sentences.limits(stopping),
                "rows": [earnings_sentences.said(stopping, row) for row in rows],
            }
        return Response(WhenToStopSerializer(told).data)


# ------------------------------------------------------------------ the season


class SeasonFillSerializer(serializers.Serializer):
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    pieces = serializers.IntegerField()
    grams = serializers.IntegerField()
    is_wanted_now = serializers.BooleanField()


class SeasonPartSerializer(serializers.Serializer):
    """Pieces of a part to order; `order_by` is null where its lead time is not known."""

    part = serializers.CharField(source="part.code")
    part_id = serializers.IntegerField(source="part.pk")
    pieces = serializers.IntegerField()
    order_by = serializers.DateField(source="by", allow_null=True)
    needed_on = serializers.DateField(source="needed")


class SeasonMonthSerializer(serializers.Serializer):
    """One month of the plan, by its first day; minutes there are null without a limit."""

    month = serializers.DateField()
    filled_pieces = serializers.IntegerField(source="filled")
    sold_pieces = serializers.IntegerField(source="sold")
    on_hand_pieces = serializers.IntegerField(source="on_hand")
    drum_grams = serializers.IntegerField()
    bulk_grams = serializers.IntegerField()
    harvest_grams = serializers.IntegerField()
    minutes = serializers.IntegerField()
    minutes_there = serializers.IntegerField(allow_null=True)


class SeasonAdviceSerializer(serializers.Serializer):
    """What the plan says about one thing, in words."""

    heading = serializers.CharField()
    sentences = _sentences()


class SeasonPlanSerializer(serializers.Serializer):
    """The plan of the season; `value_cents` is null where `obstacle` says why there is none."""

    obstacle = serializers.CharField()
    value_cents = serializers.IntegerField(allow_null=True)
    advice = SeasonAdviceSerializer(many=True)
    fills = SeasonFillSerializer(many=True)
    parts_to_order = SeasonPartSerializer(many=True)
    months = SeasonMonthSerializer(many=True)
    left_out = _sentences()


class SeasonPlanApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(operation_id="season_plan", responses=SeasonPlanSerializer)
    def get(self, request: Request) -> Response:
        """What to fill, sell in drums and order in the months of the season."""
        question = question_of(season_books.read(timezone.localdate()))
        obstacle, answer = season_sentences.obstacle(question), None
        if not obstacle:
            answer, obstacle = season_answer(question)
        told = {
            "obstacle": obstacle,
            "value_cents": answer.value_cents if answer else None,
            "advice": [
                {"heading": heading, "sentences": said}
                for heading, said in (season_advice(answer) if answer else [])
            ],
            "fills": answer.fills if answer else [],
            "parts_to_order": answer.orders if answer else [],
            "months": answer.month_rows if answer else [],
            "left_out": season_sentences.left_out(question),
        }
        return Response(SeasonPlanSerializer(told).data)


# ------------------------------------------------------------------ a price trial


class PriceOutcomeSerializer(serializers.Serializer):
    """What prices bring if buyers react so; `more_cents` is beside today's prices."""

    name = serializers.CharField()
    said = serializers.CharField()
    pieces = serializers.IntegerField(source="outcome.pieces")
    takings_cents = serializers.IntegerField(source="outcome.takings_cents")
    margin_cents = serializers.IntegerField(source="outcome.margin_cents")
    parts_cents = serializers.IntegerField(source="outcome.parts_cents")
    labour_cents = serializers.IntegerField(source="outcome.labour_cents")
    drum_cents = serializers.IntegerField(source="outcome.drum_cents", allow_null=True)
    earned_cents = serializers.IntegerField(source="outcome.earned_cents")
    short_pieces = serializers.IntegerField(source="outcome.short_pieces")
    more_cents = serializers.IntegerField(allow_null=True)


class PriceTrialSerializer(serializers.Serializer):
    """What tried prices are likely to bring; no cases where nothing of it was sold."""

    verdict = serializers.CharField()
    sentences = _sentences()
    left_out = _sentences()
    break_even_percent = DecimalFigureField(2, allow_null=True)
    cases = PriceOutcomeSerializer(many=True)


class PriceTrialApiView(ReadingApiView):
    permission_required = MANAGE_PRICES

    @extend_schema(
        operation_id="price_trial",
        parameters=[
            OpenApiParameter("products", str, many=True, description="Keys; all when left out."),
            OpenApiParameter("channel", str, description="A channel; all when left out."),
            OpenApiParameter("percent", OpenApiTypes.DECIMAL, description="Up or down by."),
            OpenApiParameter("new_cents", OpenApiTypes.DECIMAL, description="Or a new price."),
            OpenApiParameter("ending", str, description="How prices are rounded."),
            OpenApiParameter("least", OpenApiTypes.DECIMAL, required=True, description="Least."),
            OpenApiParameter("likely", OpenApiTypes.DECIMAL, required=True, description="Likely."),
            OpenApiParameter("most", OpenApiTypes.DECIMAL, required=True, description="Most."),
            OpenApiParameter("drum_price", OpenApiTypes.DECIMAL, description="To try."),
            OpenApiParameter("coming_grams", OpenApiTypes.DECIMAL, description="Still to come in."),
            OpenApiParameter("period", str, description="Whose sales are used."),
        ],
        responses=PriceTrialSerializer,
    )
    def get(self, request: Request) -> Response:
        """What a price is likely to bring before it is set."""
        asked = request.query_params
        period_form = SalesPeriodForm(asked)
        period = period_form.cleaned_data["period"] if period_form.is_valid() else ""
        today = timezone.localdate()
        books = price_books.read(today, period_asked(period, today))
        form = PriceTryForm(asked, offered=books.products)
        refuse_errors(form)
        found = price_answer.answer(books, form.wish())
        told: dict[str, Any] = {
            "verdict": "",
            "sentences": [],
            "left_out": [],
            "break_even_percent": None,
            "cases": [],
        }
        if found:
            told = {
                "verdict": price_sentences.verdict(found),
                "sentences": price_sentences.sentences(found),
                "left_out": price_sentences.left_out(found),
                "break_even_percent": found.trial.break_even.percent,
                "cases": price_sentences.cases(found),
            }
        return Response(PriceTrialSerializer(told).data)

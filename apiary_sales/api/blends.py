"""Blends through the API: searched for at the least value, planned, changed, poured, dropped."""

import re
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView, RetrieveApiView
from apiary_sales.api.fields import GramsCountField, VesselCodeField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import (
    PostingSerializer,
    ProblemSerializer,
    StrictCharField,
    StrictDecimalField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.planning import blend_sentences
from apiary_sales.planning.blend_answer import BlendSearch
from apiary_sales.planning.queries import blend_books
from apiary_sales.planning.rules.blend import (
    BlendBooks,
    BlendQuestion,
    BlendWish,
    Use,
    cents_per_gram,
    limit_problems,
)
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import documents
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of
from inventory.stock import papers
from inventory.stock.blends import BlendLimits, class_range
from inventory.stock.models import BlendPlan, BlendPlanLine
from inventory.stock.queries import blend_plans as queries
from inventory.stock.services import blend_plans

MOVE_HONEY = "inventory.move_honey"
VESSELS_MAX = 40
# A vessel with a figure: "drum-7:5000".
WITH_FIGURE = re.compile(r"([^:]{1,30}):([0-9]{1,9}(?:\.[0-9]{1,4})?)", re.ASCII)


def _colour_field(**kwargs: Any) -> StrictDecimalField:
    return StrictDecimalField(
        max_digits=4,
        decimal_places=1,
        min_value=Decimal(0),
        max_value=Decimal(150),
        required=False,
        allow_null=True,
        default=None,
        **kwargs,
    )


def _moisture_field() -> StrictDecimalField:
    return StrictDecimalField(
        max_digits=4,
        decimal_places=2,
        min_value=Decimal(10),
        max_value=Decimal(30),
        required=False,
        allow_null=True,
        default=None,
    )


class BlendLimitsSerializer(serializers.Serializer):
    """What a blend must keep, both ends included; null where anything is right."""

    grams_min = GramsCountField()
    grams_max = GramsCountField(required=False, allow_null=True, default=None)
    colour_mm_min = _colour_field()
    colour_mm_max = _colour_field()
    moisture_percent_min = _moisture_field()
    moisture_percent_max = _moisture_field()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return BlendLimits(**attrs)


class BlendSourceSerializer(serializers.Serializer):
    """So many grams from one vessel."""

    place = VesselCodeField()
    grams = GramsCountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        return attrs["place"], attrs["grams"]


class BlendToDraftSerializer(serializers.Serializer):
    """A blend to keep as a draft; the weights need not keep the limits."""

    target = VesselCodeField()
    sources = rows_of(BlendSourceSerializer, allow_empty=False, max_length=VESSELS_MAX)
    limits = BlendLimitsSerializer()
    buyer = StrictCharField(required=False, allow_blank=True, max_length=120)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class BlendToChangeSerializer(serializers.Serializer):
    """The weights that a draft has instead of those it had."""

    sources = rows_of(BlendSourceSerializer, allow_empty=False, max_length=VESSELS_MAX)


class BlendToCarryOutSerializer(serializers.Serializer):
    """What was really poured; without `sources`, the weights of the plan."""

    sources = rows_of(
        BlendSourceSerializer, allow_empty=False, max_length=VESSELS_MAX, required=False
    )
    poured_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class BlendToDropSerializer(serializers.Serializer):
    reason = StrictCharField(required=False, allow_blank=True, max_length=200)


class BlendPlanLineSerializer(RowSerializer):
    """So many grams from one vessel; `poured_grams` once it was carried out."""

    place = serializers.CharField(source="place.code")
    lot = serializers.CharField(source="lot.code")

    class Meta:
        model = BlendPlanLine
        fields = ["id", "place", "lot", "grams", "poured_grams"]


class BlendPlanSerializer(RowSerializer):
    """A blend plan; a limit that nobody asked for is null."""

    target = serializers.CharField(source="target.code")
    target_lot = serializers.CharField(source="target_lot.code", default=None)
    lines = BlendPlanLineSerializer(many=True)

    class Meta:
        model = BlendPlan
        fields = [
            "id",
            "number",
            "status",
            "is_undone",
            "target",
            "target_lot",
            "grams_min",
            "grams_max",
            "colour_mm_min",
            "colour_mm_max",
            "moisture_percent_min",
            "moisture_percent_max",
            "lines",
            "buyer",
            "note",
            "planned_at",
            "posting",
        ]


class BlendSearchSerializer(serializers.Serializer):
    """A search, as its parameters in the address.

    `colour_class` is one class of the US standard, `colour_class_max` that class or lighter.
    """

    grams_min = serializers.IntegerField(min_value=1, max_value=GRAMS_MAX)
    grams_max = serializers.IntegerField(min_value=1, max_value=GRAMS_MAX, required=False)
    colour_class = serializers.ChoiceField(COLOUR_CLASSES, required=False)
    colour_class_max = serializers.ChoiceField(COLOUR_CLASSES, required=False)
    colour_mm_min = _colour_field()
    colour_mm_max = _colour_field()
    moisture_percent_min = _moisture_field()
    moisture_percent_max = _moisture_field()
    target = VesselCodeField(required=False)
    drums_whole = serializers.BooleanField(
        required=False, default=False, help_text="Drums and pails whole or not at all."
    )
    vessels_max = serializers.IntegerField(min_value=1, max_value=VESSELS_MAX, required=False)
    least_each_grams = serializers.IntegerField(
        min_value=1, max_value=GRAMS_MAX, required=False, default=1
    )
    keep_out = serializers.ListField(child=VesselCodeField(), required=False, default=list)
    use_all = serializers.ListField(child=VesselCodeField(), required=False, default=list)
    least_grams = serializers.ListField(
        child=serializers.RegexField(WITH_FIGURE),
        required=False,
        default=list,
        help_text="A vessel and the fewest grams from it: drum-7:5000",
    )
    value_per_pound = serializers.ListField(
        child=serializers.RegexField(WITH_FIGURE),
        required=False,
        default=list,
        help_text="A vessel and what the house's unit of weight of its honey is worth: drum-7:1.85",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        named = [name for name in ("colour_class", "colour_class_max") if attrs.get(name)]
        has_mm = attrs["colour_mm_min"] is not None or attrs["colour_mm_max"] is not None
        if len(named) > 1 or (named and has_mm):
            raise serializers.ValidationError(
                {named[0]: _("Choose a colour class or enter millimetres, not both.")}
            )
        for name in named:
            low, high = class_range(attrs[name])
            attrs["colour_mm_min"] = low if name == "colour_class" else None
            attrs["colour_mm_max"] = high
        return attrs

    def wish(self, books: BlendBooks) -> BlendWish:
        """Return what a valid search asks for; raises `ValidationError`, field by field."""
        data = self.validated_data
        grams_max = data.get("grams_max")
        if grams_max is None and not data["drums_whole"]:
            grams_max = data["grams_min"]
        limits = BlendLimits(
            grams_min=data["grams_min"],
            grams_max=grams_max,
            colour_mm_min=data["colour_mm_min"],
            colour_mm_max=data["colour_mm_max"],
            moisture_percent_min=data["moisture_percent_min"],
            moisture_percent_max=data["moisture_percent_max"],
        )
        if wrong := dict(limit_problems(limits)):
            raise serializers.ValidationError(wrong)
        uses = {str(place.pk): Use.NOT for place in data["keep_out"]}
        uses |= {str(place.pk): Use.ALL for place in data["use_all"]}
        return BlendWish(
            limits=limits,
            target=data.get("target"),
            drums_whole=data["drums_whole"],
            vessels_max=data.get("vessels_max"),
            least_each_grams=data["least_each_grams"],
            uses=uses,
            least=self._least(books),
            values={
                key: cents_per_gram(figure)
                for key, figure in self._figures("value_per_pound", books).items()
            },
        )

    def _least(self, books: BlendBooks) -> dict[str, int]:
        least = {key: int(figure) for key, figure in self._figures("least_grams", books).items()}
        for vessel in books.vessels:
            if least.get(vessel.key, 0) > vessel.free_grams:
                raise serializers.ValidationError(
                    {
                        "least_grams": _("%(place)s has %(grams)s g free.")
                        % {"place": vessel.place.name, "grams": vessel.free_grams}
                    }
                )
        return least

    def _figures(self, name: str, books: BlendBooks) -> dict[str, Decimal]:
        keys = {vessel.place.code: vessel.key for vessel in books.vessels}
        found = {}
        for written in self.validated_data[name]:
            code, figure = written.split(":")
            if code not in keys:
                raise serializers.ValidationError(
                    {name: _("%(code)s has no honey that could be used.") % {"code": code}}
                )
            found[keys[code]] = Decimal(figure)
        return found


class BlendLineFoundSerializer(AnswerSerializer):
    place = serializers.CharField(source="vessel.place.code")
    lot = serializers.CharField(source="vessel.lot.code")
    grams = serializers.IntegerField()
    value_cents = serializers.IntegerField(source="cents")
    value_per_pound = serializers.DecimalField(max_digits=12, decimal_places=4, source="per_pound")
    value_from = serializers.CharField()
    is_above_moisture_limit = serializers.BooleanField()


class BlendFoundSerializer(serializers.Serializer):
    """The blend of least value. Its colour is an approximation: make a small trial blend first."""

    lines = BlendLineFoundSerializer(many=True)
    grams = serializers.IntegerField(source="outcome.grams")
    colour_mm = serializers.DecimalField(
        max_digits=4, decimal_places=1, source="outcome.colour_mm", allow_null=True
    )
    colour_class = serializers.CharField(source="outcome.colour_class", allow_null=True)
    moisture_percent = serializers.DecimalField(
        max_digits=4, decimal_places=2, source="outcome.moisture_percent"
    )
    value_cents = serializers.IntegerField(source="cents")
    cheaper_by_cents_at_most = serializers.IntegerField()


class BlendWayOutSerializer(serializers.Serializer):
    """A limit that alone stands in the way, and the nearest with which there is a blend.

    In grams, mm Pfund, percent or vessels, as the limit is.
    """

    limit = serializers.CharField()
    nearest = serializers.DecimalField(max_digits=12, decimal_places=2)
    sentence = serializers.CharField()


class BlendSearchAnswerSerializer(serializers.Serializer):
    """The blend that was found; or null with what stands in the way."""

    blend = BlendFoundSerializer(source="found", allow_null=True)
    ways_out = BlendWayOutSerializer(source="ways", many=True)
    sentence = serializers.CharField()
    left_out = serializers.ListField(child=serializers.CharField())


class BlendSearchApiView(ApiView):
    """The blend planner: nothing is recorded."""

    permission_classes = [ViewPermission]
    permission_required = (MOVE_HONEY, "pricing.manage_prices")

    @extend_schema(
        operation_id="blend_search",
        parameters=[BlendSearchSerializer],
        responses={
            200: BlendSearchAnswerSerializer,
            (400, "application/problem+json"): ProblemSerializer,
        },
    )
    def get(self, request: Request) -> Response:
        """Find which vessels to pour together for a colour and moisture, at the least value."""
        serializer = BlendSearchSerializer(data=request.query_params)
        serializer.is_valid(raise_exception=True)
        books = blend_books.read(timezone.localdate())
        question = BlendQuestion(books, serializer.wish(books))
        search = BlendSearch.of(question)
        answer = {
            "found": search.found,
            "ways": search.ways,
            "sentence": search.sentence,
            "left_out": [
                *blend_sentences.left_out(question),
                *blend_sentences.set_aside(question),
            ],
        }
        return Response(BlendSearchAnswerSerializer(answer).data)


class BlendPlansApiView(ApiActView, ListApiView):
    """Blend plans: listed, and kept as drafts."""

    filterset_class = filters.BlendPlanListFilters
    ordering_fields = ordered_by("id", "number", "planned_at")
    permission_required = MOVE_HONEY
    serializer_class = BlendToDraftSerializer
    row_serializer_class = BlendPlanSerializer
    queryset = queries.plans()

    @extend_schema(operation_id="blend_plans_list", responses=BlendPlanSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the blend plans, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=BlendToDraftSerializer,
        responses={201: BlendPlanSerializer, **REFUSALS},
    )
    def post(self, request: Request) -> Response:
        """Keep a blend as a draft; no honey moves, none is reserved."""
        key = self.key()
        plan = blend_plans.draft(**self.checked(), planned_by=person_of(request), key=key)
        return Response(BlendPlanSerializer(plan).data, status=status.HTTP_201_CREATED)


class BlendPlanApiView(RetrieveApiView):
    """One blend plan."""

    permission_classes = ApiActView.permission_classes
    permission_required = MOVE_HONEY
    serializer_class = BlendPlanSerializer
    queryset = queries.plans()
    lookup_field = "number"


class BlendPlanChangeApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = BlendToChangeSerializer

    @extend_schema(responses={200: BlendPlanSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Give a draft other weights, in place of those it had."""
        plan = get_object_or_404(queries.plans(), number=number)
        made = blend_plans.change(plan=plan, **self.checked())
        return Response(BlendPlanSerializer(made).data)


class BlendPlanCarryOutApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = BlendToCarryOutSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Pour what the plan says, in one posting, with the weights that were really poured."""
        plan = get_object_or_404(queries.plans(), number=number)
        key = self.key()
        made = blend_plans.carry_out(
            plan=plan, **self.checked(), carried_out_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class BlendPlanDropApiView(ApiActView):
    permission_required = MOVE_HONEY
    serializer_class = BlendToDropSerializer

    @extend_schema(responses={200: BlendPlanSerializer, **REFUSALS})
    def post(self, request: Request, number: str) -> Response:
        """Drop a draft. Sent twice, the second is refused, because it is dropped."""
        plan = get_object_or_404(queries.plans(), number=number)
        made = blend_plans.drop(plan=plan, **self.checked(), dropped_by=person_of(request))
        return Response(BlendPlanSerializer(made).data)


class BlendWorksheetApiView(PaperApiView):
    permission_required = MOVE_HONEY

    @extend_schema(operation_id="blend_worksheet", responses=PDF)
    def get(self, request: Request, number: str):
        """The worksheet of a blend plan, with empty fields for the real weights."""
        plan = get_object_or_404(queries.plans(), number=number)
        content = documents.render_pdf(papers.BLEND_WORKSHEET, papers.blend_worksheet_context(plan))
        return documents.pdf_response(f"blend-{plan.number}.pdf", content)

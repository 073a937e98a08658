"""Where every pound went, in whole grams: the same figures as the page."""

from django.http import Http404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bases import ApiView
from apiary_sales.api.serializers import ProblemSerializer
from apiary_sales.api.views import ViewPermission
from inventory.stock.flow import Band, Form, Source, band_named
from inventory.stock.forms.flow import BandForm, HarvestForm
from inventory.stock.queries.flow import FlowBook

OF_HARVEST = [
    OpenApiParameter(
        "season",
        OpenApiTypes.STR,
        description="A season, or `others` for honey of other beekeepers; all when left out.",
    ),
    OpenApiParameter("lot", OpenApiTypes.STR, description="Code of a lot that came in."),
    OpenApiParameter(
        "product", OpenApiTypes.STR, description="Short name of the product of a lot of comb."
    ),
]
OF_BAND = [
    OpenApiParameter(
        "band",
        OpenApiTypes.STR,
        OpenApiParameter.PATH,
        enum=[*Band.values, *Source.values],
        description="Where it is or how it left, or how it came in.",
    ),
    OpenApiParameter(
        "form",
        OpenApiTypes.STR,
        enum=Form.values,
        description="In bulk or in pieces; both when left out.",
    ),
]
WRONG = {(400, "application/problem+json"): ProblemSerializer}


class FlowSourceSerializer(serializers.Serializer):
    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    source = serializers.ChoiceField(choices=Source.values)  # type: ignore[assignment]
    grams = serializers.IntegerField()


class FlowBandSerializer(serializers.Serializer):
    """Honey that is somewhere, or left; below zero where more was found than the books had."""

    band = serializers.ChoiceField(choices=Band.values)
    is_here = serializers.BooleanField()
    bulk_grams = serializers.IntegerField(source="bulk")
    pieces_grams = serializers.IntegerField(source="pieces")
    grams = serializers.IntegerField()


class FlowOriginSerializer(serializers.Serializer):
    """A lot that came in, with its grams by band; a season, where all seasons are asked for."""

    lot = serializers.CharField(allow_null=True)
    season = serializers.IntegerField()
    source = serializers.ChoiceField(choices=Source.values)  # type: ignore[assignment]
    owner = serializers.CharField()
    came_in_grams = serializers.IntegerField(source="came_in")
    bands = serializers.DictField(child=serializers.IntegerField())
    difference_grams = serializers.IntegerField(source="difference")


class FlowSerializer(serializers.Serializer):
    """What came in is what went out and what is still here; the difference is 0."""

    came_in_grams = serializers.IntegerField(source="came_in")
    went_out_grams = serializers.IntegerField(source="went_out")
    here_grams = serializers.IntegerField(source="here")
    difference_grams = serializers.IntegerField(source="difference")
    sources = FlowSourceSerializer(many=True)
    bands = FlowBandSerializer(many=True)
    origins = FlowOriginSerializer(many=True)


class FlowEntrySerializer(serializers.Serializer):
    """A posting behind a band, with what undid or corrected it."""

    posting = serializers.IntegerField()
    occurred_at = serializers.DateTimeField()
    grams = serializers.IntegerField()


class FlowEntriesSerializer(serializers.Serializer):
    total_grams = serializers.IntegerField()
    entries = FlowEntrySerializer(many=True)


class HoneyFlowApiView(ApiView):
    permission_classes = [ViewPermission]

    @extend_schema(parameters=OF_HARVEST, responses={200: FlowSerializer, **WRONG})
    def get(self, request: Request) -> Response:
        """Return where the honey of a harvest is and went."""
        form = HarvestForm(request.query_params, book=FlowBook())
        _refuse(form)
        told = form.book.of(form.harvest)
        sources = [{"source": source, "grams": grams} for source, grams in told.sources.items()]
        answer = {
            "came_in": told.came_in,
            "went_out": told.went_out,
            "here": told.here,
            "difference": told.difference,
            "sources": sources,
            "bands": told.bands,
            "origins": told.origins,
        }
        return Response(FlowSerializer(answer).data)


class HoneyFlowEntriesApiView(ApiView):
    permission_classes = [ViewPermission]

    @extend_schema(
        operation_id="honey_flow_entries",
        parameters=[*OF_HARVEST, *OF_BAND],
        responses={200: FlowEntriesSerializer, **WRONG},
    )
    def get(self, request: Request, band: str) -> Response:
        """Return the postings behind one band of a harvest, the latest first."""
        asked = band_named(band)
        if asked is None:
            raise Http404
        form = BandForm(request.query_params, book=FlowBook())
        _refuse(form)
        entries = form.book.entries(form.harvest, form.ends(asked))
        answer = {"total_grams": sum(entry.grams for entry in entries), "entries": entries}
        return Response(FlowEntriesSerializer(answer).data)


def _refuse(form: HarvestForm) -> None:
    if not form.is_valid():
        raise ValidationError(
            {name: [str(text) for text in found] for name, found in form.errors.items()}
        )

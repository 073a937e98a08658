"""Filled jars through the API: labelled, emptied, kept apart and decided about, in gift boxes."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.fields import (
    GramsCountField,
    IdField,
    MinutesCountField,
    PiecesCountField,
    StoreCodeField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import pieces_of
from apiary_sales.api.serializers import (
    CodeField,
    PostingSerializer,
    StrictCharField,
    StrictDecimalField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from inventory.bottling.models import JarChange, PackagingPart, Product, ReturnedJars
from inventory.bottling.queries import jars as queries
from inventory.bottling.services import gift_boxes, jars, returned_jars
from inventory.shared.people import person_of
from inventory.stock import lot_codes
from inventory.stock.models import Lot

RUN_BOTTLING = "inventory.run_bottling"
RELEASE_HOLD = "inventory.release_hold"
ROWS_MAX = 100


class ChangedPiecesSerializer(AnswerSerializer):
    """Pieces of one lot that went in, or came out of a box, and the honey in them."""

    lot = serializers.CharField(source="lot.code")
    product = serializers.CharField(source="lot.what")
    product_id = serializers.IntegerField(source="lot.product_id", allow_null=True)
    pieces = serializers.IntegerField()
    grams = serializers.IntegerField()


class JarChangeSerializer(AnswerSerializer):
    """What jars became: `pieces` of a lot, or for emptied jars `grams` of honey in a vessel."""

    act = serializers.CharField()
    lot = serializers.CharField(source="lot.code")
    product = serializers.CharField(source="lot.what")
    product_id = serializers.IntegerField(source="lot.product_id", allow_null=True)
    pieces = serializers.SerializerMethodField()
    grams = serializers.SerializerMethodField()
    loss_grams = serializers.IntegerField()
    posting = serializers.IntegerField(source="posting_id")
    changed = ChangedPiecesSerializer(many=True)

    def get_pieces(self, change: JarChange) -> int | None:
        return None if change.act == JarChange.Act.EMPTY else change.pieces

    def get_grams(self, change: JarChange) -> int | None:
        return change.pieces if change.act == JarChange.Act.EMPTY else None


class ReturnedJarsSerializer(AnswerSerializer):
    """Jars that came back; `decision` is empty while they wait for one."""

    id = serializers.IntegerField()
    lot = serializers.CharField(source="lot.code")
    product = serializers.CharField(source="lot.what")
    product_id = serializers.IntegerField(source="lot.product_id", allow_null=True)
    pieces = serializers.IntegerField()
    reason = serializers.CharField()
    decision = serializers.CharField()
    decision_reason = serializers.CharField()


class JarsToLabelSerializer(serializers.Serializer):
    place = StoreCodeField()
    product = CodeField(
        queryset=Product.objects.of_honey(), help_text="What they are after the label."
    )
    pieces = PiecesCountField()
    target = StoreCodeField(required=False, allow_null=True)
    labour_minutes = MinutesCountField()
    variety_is_right = serializers.BooleanField(required=False)
    changed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class PartsBackSerializer(serializers.Serializer):
    part = CodeField(queryset=PackagingPart.objects.all())
    pieces = PiecesCountField()


class LotPiecesSerializer(serializers.Serializer):
    """Pieces of a lot, named by its key."""

    lot = IdField(queryset=Lot.objects.filter(product__isnull=False))
    pieces = PiecesCountField()


def _by_row(rows: list[dict[str, Any]], name: str) -> dict[Any, int]:
    """Return the pieces of each part or lot; refuse one that is named twice."""
    found = {row[name]: row["pieces"] for row in rows}
    if len(found) < len(rows):
        raise serializers.ValidationError(_("Name each one once."))
    return found


class JarsToEmptySerializer(serializers.Serializer):
    place = StoreCodeField()
    pieces = PiecesCountField()
    grams = GramsCountField(help_text="The honey that came out, by the scale.")
    vessel = VesselCodeField()
    parts_back = rows_of(PartsBackSerializer, required=False, max_length=ROWS_MAX)
    moisture_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    figures_are_right = serializers.BooleanField(required=False)
    changed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)

    def validate_parts_back(self, rows: list[dict[str, Any]]) -> dict[PackagingPart, int]:
        return _by_row(rows, "part")


class JarsToKeepApartSerializer(serializers.Serializer):
    place = StoreCodeField()
    pieces = PiecesCountField()
    reason = StrictCharField(max_length=300, help_text="Where they were, and why they came back.")
    set_aside_on = serializers.DateField(required=False, allow_null=True)


class JarsToDecideSerializer(serializers.Serializer):
    """Written off as spoiled, or released to a `target` for a reason."""

    decision = serializers.ChoiceField(ReturnedJars.Decision.choices)
    pieces = PiecesCountField()
    reason = StrictCharField(required=False, allow_blank=True, max_length=300)
    target = StoreCodeField(required=False, allow_null=True)
    decided_on = serializers.DateField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["decision"] == ReturnedJars.Decision.RELEASED:
            if attrs.get("target") is None:
                raise serializers.ValidationError({"target": _("Choose a shelf, stand or van.")})
            attrs.setdefault("reason", "")
        else:
            attrs.pop("target", None)
        return attrs


class BoxesToMakeSerializer(serializers.Serializer):
    """Gift boxes put together; without `lots` the oldest are taken."""

    place = StoreCodeField()
    boxes = PiecesCountField()
    target = StoreCodeField(required=False, allow_null=True)
    lots = rows_of(LotPiecesSerializer, required=False, max_length=ROWS_MAX)
    lot_code = StrictCharField(
        required=False, allow_blank=True, max_length=lot_codes.CODE_LENGTH_MAX
    )
    labour_minutes = MinutesCountField()
    changed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)

    def validate_lots(self, rows: list[dict[str, Any]]) -> dict[Lot, int]:
        return _by_row(rows, "lot")


class BoxesToTakeApartSerializer(serializers.Serializer):
    """Boxes taken apart; without `lots` their pieces come out as they went in."""

    place = StoreCodeField()
    boxes = PiecesCountField()
    target = StoreCodeField(required=False, allow_null=True)
    lots = rows_of(LotPiecesSerializer, required=False, max_length=ROWS_MAX)
    parts_back = rows_of(PartsBackSerializer, required=False, max_length=ROWS_MAX)
    changed_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)

    def validate_lots(self, rows: list[dict[str, Any]]) -> dict[Lot, int]:
        return _by_row(rows, "lot")

    def validate_parts_back(self, rows: list[dict[str, Any]]) -> dict[PackagingPart, int]:
        return _by_row(rows, "part")


class JarsLabelApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = JarsToLabelSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: JarChangeSerializer, **REFUSALS})
    def post(self, request, code: str, product: str):
        """Label jars, or give them another label; their code stays."""
        lot = pieces_of(code, product)
        key = self.key()
        made = jars.label(lot=lot, **self.checked(), changed_by=person_of(request), key=key)
        return Response(JarChangeSerializer(made).data, status=status.HTTP_201_CREATED)


class JarsEmptyApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = JarsToEmptySerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: JarChangeSerializer, **REFUSALS})
    def post(self, request, code: str, product: str):
        """Empty jars into a vessel; what did not come out is filling loss."""
        lot = pieces_of(code, product)
        key = self.key()
        made = jars.empty(lot=lot, **self.checked(), changed_by=person_of(request), key=key)
        return Response(JarChangeSerializer(made).data, status=status.HTTP_201_CREATED)


class BoxesMakeApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = BoxesToMakeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: JarChangeSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Put gift boxes together from what is at a place."""
        boxes = Product.objects.filter(kind=Product.Kind.GIFT_BOX).select_related("item")
        box = get_object_or_404(boxes, code=code)
        key = self.key()
        made = gift_boxes.put_together(
            box=box, **self.checked(), changed_by=person_of(request), key=key
        )
        return Response(JarChangeSerializer(made).data, status=status.HTTP_201_CREATED)


class BoxesApartApiView(ApiActView):
    permission_required = RUN_BOTTLING
    serializer_class = BoxesToTakeApartSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: JarChangeSerializer, **REFUSALS})
    def post(self, request, code: str, product: str):
        """Take gift boxes apart; what was in them goes back to its lots."""
        lot = pieces_of(code, product)
        key = self.key()
        made = gift_boxes.take_apart(
            lot=lot, **self.checked(), changed_by=person_of(request), key=key
        )
        return Response(JarChangeSerializer(made).data, status=status.HTTP_201_CREATED)


class JarsKeepApartApiView(ApiActView):
    permission_required = "inventory.write_off"
    serializer_class = JarsToKeepApartSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ReturnedJarsSerializer, **REFUSALS}
    )
    def post(self, request, code: str, product: str):
        """Keep jars apart that came back, until somebody decides."""
        lot = pieces_of(code, product)
        key = self.key()
        made = returned_jars.keep_apart(
            lot=lot, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(ReturnedJarsSerializer(made).data, status=status.HTTP_201_CREATED)


class ReturnedJarsApiView(ListApiView):
    """Jars that came back and wait for a decision."""

    filterset_class = filters.ReturnedJarsListFilters
    ordering_fields = ordered_by("id")
    permission_classes = [ViewPermission]
    serializer_class = ReturnedJarsSerializer
    queryset = ReturnedJars.objects.none()

    def get_queryset(self):
        return queries.returned_to_decide(person_of(self.request))


class JarsMistakeSerializer(serializers.Serializer):
    """Why they had not left."""

    reason = StrictCharField(required=False, allow_blank=True, max_length=300)


class JarsDecideApiView(ApiActView):
    """Whoever may write off may do so; a release asks for the permission to release."""

    permission_required = ("inventory.write_off", RELEASE_HOLD)
    one_permission_is_enough = True
    serializer_class = JarsToDecideSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={200: ReturnedJarsSerializer, **REFUSALS}
    )
    def post(self, request, pk: int):
        """Write jars that came back off, or release them; the rest keeps waiting."""
        returned = get_object_or_404(
            ReturnedJars.objects.select_related("lot__product__item"), pk=pk
        )
        key = self.key()
        data = self.checked()
        person = person_of(request)
        if data.pop("decision") == ReturnedJars.Decision.RELEASED:
            if not request.user.has_perm(RELEASE_HOLD):
                raise PermissionDenied
            made = returned_jars.release(returned=returned, released_by=person, key=key, **data)
        else:
            made = returned_jars.write_off(returned=returned, recorded_by=person, key=key, **data)
        return Response(ReturnedJarsSerializer(made).data)


class JarsMistakeApiView(ApiActView):
    """Others than who set them aside would release them by another name."""

    permission_required = "inventory.run_bottling"
    serializer_class = JarsMistakeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Put pieces that had never left back where they were."""
        returned = get_object_or_404(ReturnedJars.objects.select_related("lot"), pk=pk)
        is_own = returned.set_aside_by_id == request.user.pk
        if not is_own and not request.user.has_perm(RELEASE_HOLD):
            raise PermissionDenied
        key = self.key()
        made = returned_jars.was_mistake(
            returned=returned, **self.checked(), recorded_by=person_of(request), key=key
        )
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)

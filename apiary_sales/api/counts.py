"""Counts and write-offs through the API: one thing at a time, and sheets for everything."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import GenericApiView, ListApiView, RetrieveApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import (
    GoodsPlaceCodeField,
    GramsCountField,
    IdField,
    VesselCodeField,
    rows_of,
)
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import (
    CodeField,
    PostingSerializer,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from inventory.bottling.models import PackagingPart
from inventory.shared import documents
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.people import person_of
from inventory.stock import own_places, papers
from inventory.stock.forms.honey import WriteOffForm
from inventory.stock.forms.stores import StockWriteOffForm
from inventory.stock.models import CountLine, CountSheet, Lot, Place
from inventory.stock.queries import count_sheets as queries
from inventory.stock.services import count_sheets, honey, stores
from inventory.stock.services.count_sheets import CountedThing

ENTER = "inventory.enter_counts"
CLOSE = "inventory.adjust_stock"
BEYOND_MADE = "inventory.count_beyond_made"
ROWS_MAX = 500
DEPTH_MM_MAX = 100_000


def item_and_lot(attrs: dict[str, Any]) -> dict[str, Any]:
    """Put the item of a lot, or of a part, into `item`; refuse both, and neither."""
    lot, part = attrs.get("lot"), attrs.get("item")
    if (lot is None) == (part is None):
        raise serializers.ValidationError({"lot": _("Send either a lot or a part.")})
    if part is not None:
        return attrs | {"lot": None, "item": part.item}
    if lot is None or lot.product is None:
        raise serializers.ValidationError({"lot": _("Bulk honey is counted in its vessel.")})
    return attrs | {"item": lot.product.item}


class CountedAmountField(StrictIntegerField):
    """So many pieces, or grams of what is counted by weight; nought where there is none."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=GRAMS_MAX, **kwargs)


class ThingSerializer(serializers.Serializer):
    """A lot of jars or goods by its key, or a part by its short name."""

    lot = IdField(
        queryset=Lot.objects.select_related("product__item"), required=False, allow_null=True
    )
    part = CodeField(
        queryset=PackagingPart.objects.select_related("item"),
        source="item",
        required=False,
        allow_null=True,
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        return item_and_lot(attrs)


class StockToCountSerializer(ThingSerializer):
    place = GoodsPlaceCodeField()
    counted = CountedAmountField()
    reason = StrictCharField(max_length=300)
    surplus_reason = StrictCharField(
        required=False,
        allow_blank=True,
        max_length=300,
        help_text="Why there are more than were made; not everybody may say so.",
    )
    counted_on = serializers.DateField(required=False, allow_null=True)


class StockToWriteOffSerializer(ThingSerializer):
    place = GoodsPlaceCodeField()
    pieces = CountedAmountField()
    reason = serializers.ChoiceField([str(kind) for kind, _label in StockWriteOffForm.REASONS])
    may_be_fed = serializers.BooleanField(
        required=False, help_text="Confirms that honey that others harvested may be fed to bees."
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=300)
    written_off_on = serializers.DateField(required=False, allow_null=True)


class HoneyToWriteOffSerializer(serializers.Serializer):
    """Bulk honey that is gone; `grams` null for all that is in the vessel."""

    place = VesselCodeField()
    grams = GramsCountField(allow_null=True)
    reason = serializers.ChoiceField([str(kind) for kind, _label in WriteOffForm.REASONS])
    may_be_fed = serializers.BooleanField(
        required=False, help_text="Confirms that honey that others harvested may be fed to bees."
    )
    note = StrictCharField(required=False, allow_blank=True, max_length=300)
    written_off_on = serializers.DateField(required=False, allow_null=True)


class CountLineSerializer(RowSerializer):
    """What was counted; `book_quantity` is null while a blind sheet is open."""

    place = serializers.CharField(source="place.code")
    item = serializers.CharField(source="item.name")
    lot = serializers.CharField(source="lot.code", default=None)
    counted = serializers.SerializerMethodField()
    book_quantity = serializers.SerializerMethodField()
    counted_by = serializers.CharField(source="counted_by.username")

    class Meta:
        model = CountLine
        fields = [
            "id",
            "place",
            "item",
            "lot",
            "how",
            "counted",
            "book_quantity",
            "difference",
            "uncertainty_grams",
            "counted_at",
            "counted_by",
            "note",
            "replaced_by",
            "posting",
        ]

    def _is_hidden(self, line: CountLine) -> bool:
        return line.sheet.is_blind and line.sheet.is_open

    def get_counted(self, line: CountLine) -> int | None:
        # A whole seal is counted as what the books say.
        is_seal = line.how == CountLine.How.SEAL
        return None if is_seal and self._is_hidden(line) else line.counted

    def get_book_quantity(self, line: CountLine) -> int | None:
        return None if self._is_hidden(line) else line.book_then


class CountSheetSerializer(RowSerializer):
    place = serializers.CharField(source="place.code", default=None)

    class Meta:
        model = CountSheet
        fields = [
            "id",
            "number",
            "name",
            "place",
            "is_blind",
            "is_open",
            "opened_at",
            "closed_at",
            "as_of",
            "reason",
            "surplus_reason",
            "uncounted",
            "cancelled_at",
        ]


class SheetToOpenSerializer(serializers.Serializer):
    """A count of everything, or of one `place`."""

    name = StrictCharField(max_length=80)
    place = GoodsPlaceCodeField(required=False, allow_null=True)
    is_blind = serializers.BooleanField()


class CountedThingSerializer(ThingSerializer):
    quantity = CountedAmountField()

    def validate(self, attrs: dict[str, Any]) -> Any:
        found = super().validate(attrs)
        return CountedThing(found["item"], found["lot"], found["quantity"])


class StoreCountSerializer(serializers.Serializer):
    """What was counted in a store; without `counted_at`, now."""

    place = GoodsPlaceCodeField()
    things = rows_of(CountedThingSerializer, max_length=ROWS_MAX)
    counted_at = serializers.DateTimeField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class VesselCountSerializer(serializers.Serializer):
    """What is in a vessel, counted one way: `how` says which figures are wanted."""

    vessel = VesselCodeField()
    how = serializers.ChoiceField(["weight", "dip", "gross", "seal"])
    grams = GramsCountField(min_value=0, required=False, allow_null=True)
    depth_mm = StrictIntegerField(
        min_value=0, max_value=DEPTH_MM_MAX, required=False, allow_null=True
    )
    celsius = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    gross_grams = GramsCountField(required=False, allow_null=True)
    tare_grams = GramsCountField(min_value=0, required=False, allow_null=True)
    lot = IdField(
        queryset=Lot.objects.filter(product=None),
        required=False,
        allow_null=True,
        help_text="Only where other honey is in it than the books say.",
    )
    counted_at = serializers.DateTimeField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class SealsCountSerializer(serializers.Serializer):
    """Vessels whose seal is whole: they are as full as the books say; without `counted_at`, now."""

    vessels = serializers.ListField(
        child=VesselCodeField(),
        allow_empty=False,
        max_length=ROWS_MAX,
    )
    counted_at = serializers.DateTimeField(required=False, allow_null=True)


class CountToMakeSerializer(serializers.Serializer):
    """What was counted in one place. What is not listed keeps its figure in the books."""

    things = rows_of(CountedThingSerializer, allow_empty=False, max_length=ROWS_MAX)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)
    surplus_reason = StrictCharField(
        required=False,
        allow_blank=True,
        max_length=300,
        help_text="Why there are more than were made; not everybody may say so.",
    )


class SheetToCloseSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)
    uncounted = serializers.ChoiceField(CountSheet.Uncounted.choices)
    as_of = serializers.DateTimeField(required=False, allow_null=True)
    surplus_reason = StrictCharField(required=False, allow_blank=True, max_length=300)


class ComparedLineSerializer(AnswerSerializer):
    """A counted line beside the books of its moment; `problem` says why it can't be booked."""

    place = serializers.CharField(source="line.place.code")
    item = serializers.CharField(source="line.item.name")
    lot = serializers.CharField(source="lot.code", default=None)
    counted = serializers.IntegerField()
    book_then = serializers.IntegerField()
    difference = serializers.IntegerField()
    state = serializers.CharField()
    problem = serializers.CharField()


class UncountedSerializer(AnswerSerializer):
    place = serializers.CharField(source="place.code")
    item = serializers.CharField(source="item.name")
    lot = serializers.CharField(source="lot.code", default=None)
    book_quantity = serializers.IntegerField(allow_null=True)


class DifferencesSerializer(serializers.Serializer):
    lines = ComparedLineSerializer(many=True, source="compared")
    uncounted = UncountedSerializer(many=True)
    surpluses = serializers.SerializerMethodField()

    def get_surpluses(self, closing: queries.ClosingView) -> list[str]:
        return [surplus.sentence for surplus in closing.surpluses]


def sheet_of(number: str) -> CountSheet:
    return get_object_or_404(CountSheet.objects.select_related("place"), number=number)


def refuse_to_book(request: Any, place: Place | None) -> None:
    """Raise `PermissionDenied` for whom a count of a place, or of everything, is not theirs."""
    if not own_places.may_book_count(person_of(request), place):
        raise PermissionDenied


def refuse_beyond_made(request: Any, data: dict[str, Any]) -> None:
    """Raise `PermissionDenied` where somebody says why there are more than made, and may not."""
    if data.get("surplus_reason") and not request.user.has_perm(BEYOND_MADE):
        raise PermissionDenied


class StockCountsApiView(ApiActView):
    permission_required = CLOSE
    serializer_class = StockToCountSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, 204: None, **REFUSALS}
    )
    def post(self, request):
        """Count one thing at a place; 204 and no posting where the books agree."""
        key = self.key()
        data = self.checked()
        refuse_beyond_made(request, data)
        made = stores.count(**data, recorded_by=person_of(request), key=key)
        if made is None:
            return Response(status=status.HTTP_204_NO_CONTENT)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class StockWriteOffsApiView(ApiActView):
    permission_required = "inventory.write_off"
    serializer_class = StockToWriteOffSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request):
        """Write pieces off: broken, sampled, fed back to bees and so on."""
        key = self.key()
        made = stores.write_off(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class HoneyWriteOffsApiView(ApiActView):
    permission_required = "inventory.write_off"
    serializer_class = HoneyToWriteOffSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: PostingSerializer, **REFUSALS})
    def post(self, request):
        """Write bulk honey off: skimmings, spilled, sampled, fed back to bees and so on."""
        key = self.key()
        made = honey.write_off(**self.checked(), recorded_by=person_of(request), key=key)
        return Response(PostingSerializer(made).data, status=status.HTTP_201_CREATED)


class CountSheetsApiView(ApiActView, ListApiView):
    """Counts: listed for whoever may enter counts, opened by who may close them."""

    filterset_class = filters.CountSheetListFilters
    ordering_fields = ordered_by("id", "number", "opened_at")
    permission_required = ENTER
    serializer_class = SheetToOpenSerializer
    row_serializer_class = CountSheetSerializer
    queryset = CountSheet.objects.order_by("-opened_at", "-id")

    @extend_schema(operation_id="count_sheets_list", responses=CountSheetSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the sheets, newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=SheetToOpenSerializer,
        responses={201: CountSheetSerializer, **REFUSALS},
    )
    def post(self, request):
        """Open a sheet of everything or of a place; one of each is open at a time."""
        key = self.key()
        data = self.checked()
        refuse_to_book(request, data.get("place"))
        made = count_sheets.open_sheet(**data, opened_by=person_of(request), key=key)
        return Response(CountSheetSerializer(made).data, status=status.HTTP_201_CREATED)


class CountSheetApiView(RetrieveApiView):
    """One sheet."""

    permission_classes = [ViewPermission]
    permission_required = ENTER
    serializer_class = CountSheetSerializer
    queryset = CountSheet.objects.order_by("id")
    lookup_field = "number"


class CountLinesApiView(ListApiView):
    """All lines of a sheet in the order they were entered, those that were replaced too."""

    filterset_class = filters.CountLineListFilters
    ordering_fields = ordered_by("id", "counted_at")
    permission_classes = [ViewPermission]
    permission_required = ENTER
    serializer_class = CountLineSerializer
    queryset = CountLine.objects.none()

    def get_queryset(self):
        sheet = sheet_of(self.kwargs["number"])
        lines = sheet.lines.with_all().select_related("sheet").order_by("id")
        if own_places.has_every(person_of(self.request)):
            return lines
        return lines.filter(place__kind__in=own_places.KINDS)


class CountStoreApiView(ApiActView):
    permission_required = ENTER
    serializer_class = StoreCountSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: CountLineSerializer(many=True), **REFUSALS},
    )
    def post(self, request, number: str):
        """Enter what was counted in a store; a thing that was entered before is replaced."""
        sheet = sheet_of(number)
        key = self.key()
        made = count_sheets.enter(
            sheet=sheet, **self.checked(), counted_by=person_of(request), key=key
        )
        return Response(CountLineSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class CountVesselApiView(ApiActView):
    permission_required = ENTER
    serializer_class = VesselCountSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CountLineSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Enter what is in a vessel, by weight, dip, gross weight or its whole seal."""
        sheet = sheet_of(number)
        key = self.key()
        made = count_sheets.enter_vessel(
            sheet=sheet, **self.checked(), counted_by=person_of(request), key=key
        )
        return Response(CountLineSerializer(made).data, status=status.HTTP_201_CREATED)


class CountSealsApiView(ApiActView):
    permission_required = ENTER
    serializer_class = SealsCountSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: CountLineSerializer(many=True), **REFUSALS},
    )
    def post(self, request, number: str):
        """Enter that the seals of these vessels are whole."""
        sheet = sheet_of(number)
        if not own_places.has_every(person_of(request)):
            raise PermissionDenied
        key = self.key()
        made = count_sheets.enter_seals(
            sheet=sheet, **self.checked(), counted_by=person_of(request), key=key
        )
        return Response(CountLineSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class PlaceCountApiView(ApiActView):
    permission_required = ENTER
    serializer_class = CountToMakeSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: CountSheetSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Count a shelf, stand or van in one act. Each difference is booked at once."""
        place = get_object_or_404(Place, code=code, kind__in=Place.FOR_GOODS, is_active=True)
        refuse_to_book(request, place)
        key = self.key()
        data = self.checked()
        refuse_beyond_made(request, data)
        made = count_sheets.count_now(place=place, **data, counted_by=person_of(request), key=key)
        return Response(CountSheetSerializer(made).data, status=status.HTTP_201_CREATED)


class CountDifferencesApiView(GenericApiView):
    permission_classes = [ViewPermission]
    permission_required = ENTER
    serializer_class = DifferencesSerializer
    queryset = CountSheet.objects.none()

    @extend_schema(responses=DifferencesSerializer)
    def get(self, request, number: str):
        """What closing a sheet would book now, and what stands in the way."""
        sheet = sheet_of(number)
        refuse_to_book(request, sheet.place)
        return Response(DifferencesSerializer(queries.closing_view(sheet)).data)


class CountCloseApiView(ApiActView):
    permission_required = ENTER
    serializer_class = SheetToCloseSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={200: CountSheetSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Book all differences of a sheet as of one moment, and close it."""
        sheet = sheet_of(number)
        refuse_to_book(request, sheet.place)
        key = self.key()
        data = self.checked()
        refuse_beyond_made(request, data)
        made = count_sheets.close(sheet=sheet, **data, closed_by=person_of(request), key=key)
        return Response(CountSheetSerializer(made).data)


class CountCancelApiView(ApiActView):
    permission_required = ENTER
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: CountSheetSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Close a sheet without changing the books."""
        sheet = sheet_of(number)
        refuse_to_book(request, sheet.place)
        made = count_sheets.cancel(sheet=sheet, cancelled_by=person_of(request))
        return Response(CountSheetSerializer(made).data)


class CountSheetPaperApiView(PaperApiView):
    permission_required = ENTER

    @extend_schema(operation_id="count_sheet_paper", responses=PDF)
    def get(self, request, number: str):
        """The sheet on paper, to fill in; once it is closed, its result."""
        sheet = sheet_of(number)
        content = documents.render_pdf(
            papers.COUNT_SHEET, papers.count_sheet_context(sheet, person_of(request))
        )
        return documents.pdf_response(f"count-{sheet.number}.pdf", content)

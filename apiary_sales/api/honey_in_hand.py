"""Honey in hand through the API: vessels, what a place holds, dips, dip charts, and what is here
of other beekeepers.
"""

from functools import cached_property
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.honey_of_others import SupplierSerializer
from apiary_sales.api.lots import OF_PRODUCT, lot_of
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.periods import PERIOD, period_of
from apiary_sales.api.readings import (
    DecimalFigureField,
    ReadingApiView,
    RowApiView,
    RowsApiView,
    refuse_errors,
)
from apiary_sales.api.serializers import (
    LotSerializer,
    PlaceSerializer,
    PostingSerializer,
    StockSerializer,
    unit_of,
)
from apiary_sales.api.shortages import ShortageSerializer
from apiary_sales.api.views import PostingViewSet
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import documents
from inventory.shared.models import House
from inventory.shared.people import person_of, sees_costs
from inventory.stock import dip_chart, seen
from inventory.stock.models import DipReading, Lot, Place, Posting, Supplier, TankShape
from inventory.stock.models.lots import Origin
from inventory.stock.origin import by_country, label_lines
from inventory.stock.queries import corrections, holds, owners, shortages
from inventory.stock.queries import honey as queries
from inventory.stock.queries import suppliers as supplier_queries
from inventory.stock.queries.honey import OriginShare
from inventory.stock.views import cleaning as cleaning_pages
from inventory.stock.views import dip_chart as chart_pages
from inventory.stock.views import others as others_pages
from inventory.stock.views import warmings as warming_pages
from inventory.stock.views.places import HOUSE_KINDS
from inventory.stock.views.suppliers import ROWS_SHOWN

MOVE_HONEY = "inventory.move_honey"
MANAGE_SUPPLIERS = "inventory.manage_suppliers"


class VesselSerializer(serializers.Serializer):
    """A vessel and the honey in it; litres are at 20 °C, `fraction` is of its capacity."""

    id = serializers.IntegerField(source="place.pk")
    code = serializers.CharField(source="place.code")
    name = serializers.CharField(source="place.name")
    kind = serializers.ChoiceField(Place.Kind.choices, source="place.kind")
    tare_grams = serializers.IntegerField(source="place.tare_grams", allow_null=True)
    capacity_litres = DecimalFigureField(3, source="place.capacity_litres", allow_null=True)
    state = serializers.ChoiceField(["empty", "reserved", "others", "full"])
    lot = serializers.CharField(source="lot.code", default=None)
    lot_id = serializers.IntegerField(source="lot.pk", default=None)
    floral_source = serializers.CharField(source="lot.floral_source", default=None)
    moisture_percent = DecimalFigureField(
        2, source="balance.honey_lot.moisture_percent", default=None
    )
    colour_class = serializers.ChoiceField(
        list(COLOUR_CLASSES), source="lot.colour_class", default=None, allow_null=True
    )
    grams = serializers.IntegerField()
    reserved_grams = serializers.IntegerField()
    litres = DecimalFigureField(3)
    fraction = DecimalFigureField(4, allow_null=True)
    owner = serializers.CharField(source="owner.name", default=None)
    owner_id = serializers.IntegerField(source="owner.pk", default=None)


class HoneyTotalSerializer(serializers.Serializer):
    """Honey added up, and how many vessels have it."""

    grams = serializers.IntegerField()
    litres = DecimalFigureField(3)
    vessels = serializers.IntegerField(source="count")


class LotKeySerializer(serializers.ModelSerializer):
    """A lot by its key, its code, and what it is: `in-bulk`, or the short name of a product."""

    product = serializers.CharField(source="what")
    product_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = Lot
        fields = ["id", "code", "kind", "product", "product_id"]


class MoistureWarningSerializer(serializers.Serializer):
    sentence = serializers.CharField()
    lots = LotKeySerializer(many=True)


class HoneyInHandSerializer(serializers.Serializer):
    """All bulk honey. Totals are of the house's own; vessels with honey of others are listed."""

    total = HoneyTotalSerializer()
    in_tanks = HoneyTotalSerializer()
    in_drums = HoneyTotalSerializer()
    in_small_vessels = HoneyTotalSerializer()
    moisture_warnings = MoistureWarningSerializer(many=True)
    vessels = VesselSerializer(many=True)


class HoneyInHandApiView(ReadingApiView):
    @extend_schema(operation_id="honey_in_hand", responses=HoneyInHandSerializer)
    def get(self, request: Request) -> Response:
        """Say how much honey there is in bulk, vessel by vessel."""
        return Response(HoneyInHandSerializer(queries.in_hand()).data)


# ------------------------------------------------------------------ places


class WarmthSerializer(serializers.Serializer):
    """How warm the honey of a vessel was when it was read last."""

    celsius = DecimalFigureField(1)
    read_on = serializers.DateField()
    is_dip = serializers.BooleanField()


class TankShapeSerializer(serializers.ModelSerializer):
    """The inside of a vessel; null for a measure that its form does not have."""

    class Meta:
        model = TankShape
        fields = ["form", "diameter_mm", "length_mm", "end", "cone_mm"]


class PlaceContentsSerializer(serializers.Serializer):
    """What a place holds: `vessel` of a vessel, `stock` of a shelf, stand or van."""

    place = PlaceSerializer()
    vessel = VesselSerializer(allow_null=True)
    gross_grams = serializers.IntegerField(allow_null=True)
    shape = TankShapeSerializer(allow_null=True)
    warmth = WarmthSerializer(allow_null=True)
    stock = StockSerializer(many=True)


def place_of(code: str, request: Request) -> Place:
    kinds = (*HOUSE_KINDS, Place.Kind.RETURNED)
    found = Place.objects.select_related("shape").filter(kind__in=kinds)
    return get_object_or_404(seen.places(person_of(request), found), code=code)


class PlaceContentsApiView(ReadingApiView):
    @extend_schema(operation_id="place_contents", responses=PlaceContentsSerializer)
    def get(self, request: Request, code: str) -> Response:
        """Say what is at a place now."""
        place = place_of(code, request)
        vessel = queries.vessel(place) if place.is_vessel else None
        told: dict[str, Any] = {
            "place": place,
            "vessel": vessel,
            "gross_grams": vessel.grams + (place.tare_grams or 0) if vessel else None,
            "shape": getattr(place, "shape", None),
            "warmth": queries.warmth(place) if vessel else None,
            "stock": [] if vessel else queries.stock_at(place),
        }
        return Response(PlaceContentsSerializer(told).data)


class PlacePostingsApiView(RowsApiView):
    """What happened at a place, the latest first."""

    serializer_class = PostingSerializer
    queryset = Posting.objects.all()
    filterset_class = filters.PlacePostingListFilters
    ordering_fields = ["occurred_at", "id"]
    ordering = ["-occurred_at", "-id"]

    def get_queryset(self) -> QuerySet[Posting]:
        if getattr(self, "swagger_fake_view", False):
            return Posting.objects.none()
        place = place_of(self.kwargs["code"], self.request)
        there = seen.postings(person_of(self.request), queries.postings(place=place))
        return PostingViewSet.queryset.filter(pk__in=there.order_by().values("pk"))


# ------------------------------------------------------------------ dips


class DipReadingSerializer(serializers.ModelSerializer):
    """A depth that was read, what it weighs, and what the books said then.

    `uncertainty_grams` is a bound; `accepted` is the posting that put the books right by it.
    """

    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField()
    lot = serializers.CharField(source="lot.code")
    lot_id = serializers.IntegerField()
    read_by = serializers.CharField(source="read_by.username")
    difference_grams = serializers.IntegerField()
    run = serializers.CharField(source="run_dip.run.number", default=None)
    run_id = serializers.IntegerField(source="run_dip.run_id", default=None)

    class Meta:
        model = DipReading
        fields = [
            "id",
            "place",
            "place_id",
            "lot",
            "lot_id",
            "read_at",
            "read_by",
            "depth_mm",
            "celsius",
            "moisture_percent",
            "litres",
            "grams",
            "uncertainty_grams",
            "stick_grams",
            "book_grams",
            "difference_grams",
            "accepted",
            "run",
            "run_id",
            "note",
        ]


class DipWithStateSerializer(DipReadingSerializer):
    """A dip beside the books: `moved` where the books of its moment were changed later."""

    state = serializers.SerializerMethodField()
    can_be_accepted = serializers.SerializerMethodField()

    class Meta(DipReadingSerializer.Meta):
        fields = [*DipReadingSerializer.Meta.fields, "state", "can_be_accepted"]

    @extend_schema_field(serializers.ChoiceField(["accepted", "moved", "agrees", "close", "apart"]))
    def get_state(self, reading: DipReading) -> str:
        return queries.DipOutcome(reading).state

    def get_can_be_accepted(self, reading: DipReading) -> bool:
        return queries.DipOutcome(reading).can_be_accepted


class DipsApiView(RowsApiView):
    """The dips of all vessels, the latest first."""

    serializer_class = DipReadingSerializer
    queryset = queries.dips()
    filterset_class = filters.DipListFilters
    ordering_fields = ["read_at", "id"]
    ordering = ["-read_at", "-id"]


class DipApiView(RowApiView):
    """One dip, with its state."""

    serializer_class = DipWithStateSerializer
    queryset = queries.dips()


class DipChartRowSerializer(serializers.Serializer):
    """A depth, what is in the vessel up to it, and how far that can be wrong either way."""

    depth_mm = DecimalFigureField(1)
    litres = DecimalFigureField(3)
    grams = serializers.IntegerField()
    uncertainty_grams = serializers.IntegerField()


class DipChartSerializer(serializers.Serializer):
    """The dip chart of a vessel, every centimetre, for one moisture and temperature."""

    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    moisture_percent = DecimalFigureField(2)
    celsius = DecimalFigureField(1)
    rows = DipChartRowSerializer(many=True)


OF_CHART = [
    OpenApiParameter(
        "moisture_percent", OpenApiTypes.DECIMAL, description="Of the honey in it when left out."
    ),
    OpenApiParameter(
        "celsius", OpenApiTypes.DECIMAL, description="Temperature; the usual one when left out."
    ),
    OpenApiParameter("celsius_unit", str, enum=["C", "F"], description="Of `celsius`."),
]


class DipChartApiView(ReadingApiView):
    permission_required = MOVE_HONEY

    @extend_schema(operation_id="dip_chart", parameters=OF_CHART, responses=DipChartSerializer)
    def get(self, request: Request, code: str) -> Response:
        """Say what each depth of a vessel means."""
        place = chart_pages.place_with_shape(code)
        form = chart_pages.chart_form(request.query_params, place)
        rows = chart_pages.chart_rows(place, form, dip_chart.CENTIMETRE_MM)
        refuse_errors(form)
        figures = {name: form.cleaned_data[name] for name in ("moisture_percent", "celsius")}
        return Response(DipChartSerializer({"place": place, "rows": rows, **figures}).data)


class DipChartPaperApiView(PaperApiView):
    permission_required = MOVE_HONEY

    @extend_schema(operation_id="dip_chart_paper", parameters=OF_CHART, responses=PDF)
    def get(self, request: Request, code: str) -> HttpResponse:
        """The dip chart of a vessel on paper."""
        place = chart_pages.place_with_shape(code)
        form = chart_pages.chart_form(request.query_params, place)
        context = chart_pages.paper_context(place, form)
        refuse_errors(form)
        content = documents.render_pdf(chart_pages.PAPER, context)
        return documents.pdf_response(f"dip-chart-{place.code}.pdf", content)


# ------------------------------------------------------------------ lots


class CountryShareSerializer(serializers.Serializer):
    """How much of a lot is from one country; empty where that is not known."""

    country = serializers.CharField()
    region = serializers.CharField()
    percent = serializers.IntegerField()


class OriginShareSerializer(serializers.Serializer):
    """An extraction or delivery whose honey is in a lot, back to the beginning."""

    lot = LotKeySerializer()
    grams = serializers.IntegerField()
    percent = DecimalFigureField(4)


class DescendantSerializer(serializers.Serializer):
    """A lot that this one went into: how much of it directly, null for one further on."""

    lot = LotKeySerializer()
    quantity = serializers.IntegerField(source="grams", allow_null=True)
    where = StockSerializer(many=True)


class HoldEventSerializer(serializers.Serializer):
    """Lots that were put on hold, or released."""

    at = serializers.DateTimeField()
    by = serializers.CharField()
    is_release = serializers.BooleanField()
    reason = serializers.CharField()
    cause = serializers.CharField()
    lots = LotKeySerializer(many=True)


class CorrectedFigureSerializer(serializers.Serializer):
    """A figure in words, before and after."""

    name = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class LotCorrectionSerializer(serializers.Serializer):
    at = serializers.DateTimeField()
    who = serializers.CharField()
    reason = serializers.CharField()
    posting = serializers.IntegerField(allow_null=True)
    figures = serializers.SerializerMethodField()

    @extend_schema_field(CorrectedFigureSerializer(many=True))
    def get_figures(self, row: corrections.LotCorrectionRow) -> Any:
        """The figures; costs only for those who see costs."""
        shown = [each for each in row.figures if self.context["sees_costs"] or not each.is_cost]
        return CorrectedFigureSerializer(shown, many=True).data


class LotStorySerializer(serializers.Serializer):
    """Where a lot is, where it is from, and what happened to it.

    The lots that are in it and those it went into are in pages, at `origins/` and `became/`.
    """

    lot = LotSerializer()
    is_undone = serializers.BooleanField()
    honey_grams = serializers.IntegerField()
    where = StockSerializer(many=True)
    origin_count = serializers.IntegerField()
    countries = CountryShareSerializer(many=True)
    origin_lines = serializers.ListField(
        child=serializers.CharField(), help_text="What a label says of the origin."
    )
    became_count = serializers.IntegerField()
    hold_events = HoldEventSerializer(many=True)
    shortages = ShortageSerializer(many=True)
    corrections = LotCorrectionSerializer(many=True)


class LotStoryApiView(ReadingApiView):
    @extend_schema(operation_id="lot_story", parameters=[OF_PRODUCT], responses=LotStorySerializer)
    def get(self, request: Request, code: str) -> Response:
        """Trace a lot back to what came in, and on to what it became; see recall for buyers."""
        lot = lot_of(request, code)
        origins = _origins(lot)
        house = House.current()
        countries = by_country(origins, house)
        told = {
            "lot": lot,
            "is_undone": queries.is_undone(lot),
            "honey_grams": lot.honey_grams,
            "where": seen.places_of_stock(person_of(request), queries.stock_of(lot)),
            "origin_count": sum(each.lot != lot for each in origins),
            "countries": countries,
            "origin_lines": label_lines(countries, house) if countries else [],
            "became_count": _became(lot).count(),
            "hold_events": holds.events(holds.of_lots([lot.pk])),
            "shortages": shortages.of_lot(lot),
            "corrections": corrections.of_lot(lot),
        }
        context = {"sees_costs": sees_costs(request)}
        return Response(LotStorySerializer(told, context=context).data)


def _origins(lot: Lot) -> list[Origin]:
    """Return what came in and is in a lot; other goods have materials, no extractions."""
    return [] if lot.kind == Lot.Kind.GOODS else lot.origins()


def _became(lot: Lot) -> QuerySet[Lot]:
    return Lot.objects.filter(pk__in=Lot.objects.family_keys([lot.pk])).exclude(pk=lot.pk)


class LotOriginsApiView(ListApiView):
    """The extractions and deliveries whose honey is in a lot, the oldest first."""

    serializer_class = OriginShareSerializer
    queryset = Lot.objects.order_by("made_on", "id")

    @extend_schema(operation_id="lot_origins", parameters=[OF_PRODUCT])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @cached_property
    def shares(self) -> dict[int, OriginShare]:
        lot = lot_of(self.request, self.kwargs["code"])
        return {each.lot.pk: each for each in queries.origin_shares(lot, _origins(lot))}

    def get_queryset(self) -> QuerySet[Lot]:
        return super().get_queryset().filter(pk__in=list(self.shares))

    def rows(self, page: list[Any]) -> Any:
        return [self.shares[lot.pk] for lot in page]


class LotBecameApiView(ListApiView):
    """The lots that a lot went into, and those that these went into, the oldest first."""

    serializer_class = DescendantSerializer
    queryset = Lot.objects.select_related("product__size", "product__item").order_by(
        "made_on", "id"
    )

    @extend_schema(operation_id="lot_became", parameters=[OF_PRODUCT])
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return super().get(request, *args, **kwargs)

    @cached_property
    def lot(self) -> Lot:
        return lot_of(self.request, self.kwargs["code"])

    def get_queryset(self) -> QuerySet[Lot]:
        return super().get_queryset().filter(pk__in=_became(self.lot).values("pk"))

    def rows(self, page: list[Any]) -> Any:
        return seen.became(person_of(self.request), queries.became(self.lot, page))


# ------------------------------------------------------------------ suppliers, others


class BoughtLotSerializer(LotKeySerializer):
    """Honey bought; `is_here` while some of it is in a vessel or on a shelf."""

    is_undone = serializers.BooleanField()
    is_here = serializers.BooleanField()

    class Meta(LotKeySerializer.Meta):
        fields = [*LotKeySerializer.Meta.fields, "made_on", "quantity_made", "is_undone", "is_here"]


class SupplierDeliverySerializer(serializers.Serializer):
    """Parts or goods that came in, in `unit`."""

    id = serializers.IntegerField(source="pk")
    item = serializers.SerializerMethodField()
    item_id = serializers.SerializerMethodField()
    code = serializers.SerializerMethodField()
    quantity = serializers.SerializerMethodField()
    unit = serializers.SerializerMethodField()
    cost_cents = serializers.IntegerField()
    received_on = serializers.DateField()

    def get_item(self, receipt: Any) -> str:
        return _thing(receipt).name

    def get_item_id(self, receipt: Any) -> int:
        return _thing(receipt).item_id

    def get_code(self, receipt: Any) -> str:
        return _thing(receipt).code

    def get_quantity(self, receipt: Any) -> int:
        return receipt.pieces if hasattr(receipt, "part") else receipt.quantity

    def get_unit(self, receipt: Any) -> str:
        return "pieces" if hasattr(receipt, "part") else unit_of(receipt.product.item)


def _thing(receipt: Any) -> Any:
    return receipt.part if hasattr(receipt, "part") else receipt.product


class SupplierDetailSerializer(SupplierSerializer):
    """A supplier, with the latest of what came from them, and what is here of a beekeeper."""

    honey_bought = BoughtLotSerializer(many=True)
    parts_received = SupplierDeliverySerializer(many=True)
    goods_received = SupplierDeliverySerializer(many=True)
    honey_here = StockSerializer(many=True)

    class Meta(SupplierSerializer.Meta):
        fields = [
            *SupplierSerializer.Meta.fields,
            "honey_bought",
            "parts_received",
            "goods_received",
            "honey_here",
        ]


class SupplierDetailApiView(ReadingApiView):
    permission_required = MANAGE_SUPPLIERS

    @extend_schema(operation_id="supplier", responses=SupplierDetailSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One supplier, with what came from them."""
        supplier: Any = get_object_or_404(Supplier, pk=pk)
        parts = supplier.part_receipts.filter(posting__reversed_by__reverses=None).select_related(
            "part"
        )
        goods = supplier.goods_receipts.filter(posting__reversed_by__reverses=None)
        supplier.honey_bought = supplier_queries.bought_from(supplier)[:ROWS_SHOWN]
        supplier.parts_received = parts[:ROWS_SHOWN]
        supplier.goods_received = goods.select_related("product__item")[:ROWS_SHOWN]
        is_beekeeper = supplier.kind == Supplier.Kind.BEEKEEPER
        supplier.honey_here = owners.here(supplier) if is_beekeeper else []
        return Response(SupplierDetailSerializer(supplier).data)


class HoneyOfOthersApiView(RowsApiView):
    """All that belongs to other beekeepers and is here now."""

    permission_required = MANAGE_SUPPLIERS
    serializer_class = StockSerializer
    queryset = owners.all_here()
    filterset_class = filters.HoneyOfOthersListFilters
    ordering_fields = ["id", "quantity"]
    ordering = ["id"]


# What can happen to the honey of another beekeeper.
OWNER_CHANGES = [(what, what) for what in owners.WORDS]


class OwnerRowSerializer(serializers.Serializer):
    """What changed what is here of one lot, below zero where it left, in `unit`."""

    posting = serializers.IntegerField(source="posting.pk")
    day = serializers.DateField()
    what = serializers.ChoiceField(OWNER_CHANGES)
    item = serializers.CharField(source="item.name")
    item_id = serializers.IntegerField(source="item.pk")
    lot = serializers.CharField(source="lot.code")
    lot_id = serializers.IntegerField(source="lot.pk")
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class OwnerSumSerializer(serializers.Serializer):
    """What was here of one item, what changed, and what is here at the end, in `unit`."""

    item = serializers.CharField(source="item.name")
    item_id = serializers.IntegerField(source="item.pk")
    unit = serializers.SerializerMethodField()
    opening = serializers.IntegerField()
    changes = serializers.DictField(child=serializers.IntegerField())
    closing = serializers.IntegerField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class OwnerStatementSerializer(serializers.Serializer):
    """What happened to the honey of one beekeeper between two days, both included."""

    owner = serializers.CharField(source="owner.name")
    owner_id = serializers.IntegerField(source="owner.pk")
    since = serializers.DateField()
    until = serializers.DateField()
    sums = OwnerSumSerializer(many=True)
    rows = OwnerRowSerializer(many=True)


class OwnerStatementApiView(ReadingApiView):
    permission_required = MANAGE_SUPPLIERS

    @extend_schema(
        operation_id="owner_statement", parameters=PERIOD, responses=OwnerStatementSerializer
    )
    def get(self, request: Request, pk: int) -> Response:
        """Account for the honey of another beekeeper on some days."""
        owner = get_object_or_404(Supplier, pk=pk)
        made = owners.statement(owner, *period_of(request))
        return Response(OwnerStatementSerializer(made).data)


class OwnerStatementPaperApiView(PaperApiView):
    permission_required = MANAGE_SUPPLIERS

    @extend_schema(operation_id="owner_statement_paper", parameters=PERIOD, responses=PDF)
    def get(self, request: Request, pk: int) -> HttpResponse:
        """The same account on paper."""
        owner = get_object_or_404(Supplier, pk=pk)
        since, until = period_of(request)
        context = {"statement": owners.statement(owner, since, until)}
        content = documents.render_pdf(others_pages.PAPER, context)
        return documents.pdf_response(f"honey-of-{pk}-{until.isoformat()}.pdf", content)


# ------------------------------------------------------------------ logs on paper


class WarmingsPaperApiView(PaperApiView):
    permission_required = MOVE_HONEY

    @extend_schema(operation_id="warmings_paper", parameters=PERIOD, responses=PDF)
    def get(self, request: Request) -> HttpResponse:
        """The warming log of some days on paper."""
        since, until = period_of(request)
        context = warming_pages.paper_context(since, until)
        content = documents.render_pdf(warming_pages.PAPER, context)
        return documents.pdf_response(f"warmings-{until.isoformat()}.pdf", content)


class CleaningsPaperApiView(PaperApiView):
    permission_required = "inventory.record_cleaning"

    @extend_schema(operation_id="cleanings_paper", parameters=PERIOD, responses=PDF)
    def get(self, request: Request) -> HttpResponse:
        """The cleaning log of some days on paper."""
        since, until = period_of(request)
        context = cleaning_pages.paper_context(since, until)
        content = documents.render_pdf(cleaning_pages.PAPER, context)
        return documents.pdf_response(f"cleanings-{until.isoformat()}.pdf", content)

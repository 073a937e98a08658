"""What the bottling room has and did, through the API: parts, goods, jars, runs and their figures,
label layouts.
"""

from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import changed, seen
from apiary_sales.api.bottling import RunSerializer, note_runs
from apiary_sales.api.bottling_days import BottlingDaySerializer, SettlementSerializer
from apiary_sales.api.honey_in_hand import LotCorrectionSerializer, LotKeySerializer
from apiary_sales.api.jars import JarChangeSerializer, ReturnedJarsSerializer
from apiary_sales.api.lots import pieces_of
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.readings import DecimalFigureField, ReadingApiView, RowApiView, RowsApiView
from apiary_sales.api.seen import VIEW_COSTS, SeenSerializer
from apiary_sales.api.serializers import ProductSerializer, StockSerializer, unit_of
from apiary_sales.api.sizes import LabelSheetSerializer
from inventory.bottling import papers
from inventory.bottling.models import (
    BottlingDay,
    GoodsMade,
    GoodsReceipt,
    LabelSheet,
    PackagingPart,
    PartReceipt,
    SizePart,
)
from inventory.bottling.queries import additions, bottling_days, corrections
from inventory.bottling.queries import goods as goods_queries
from inventory.bottling.queries import jars as jar_queries
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.queries import products as product_queries
from inventory.bottling.queries import runs as run_queries
from inventory.bottling.queries import sizes as size_queries
from inventory.bottling.views.goods import ROWS_SHOWN, goods_of
from inventory.bottling.views.parts import RECEIPTS_SHOWN, part_of, receipts_of
from inventory.bottling.views.runs import run_of
from inventory.shared import documents
from inventory.shared.people import person_of, sees_costs
from inventory.stock.models import PostingLine

RUN_BOTTLING = "inventory.run_bottling"

# ------------------------------------------------------------------ packaging parts


class PartSerializer(SeenSerializer):
    """A packaging part: pieces there, what they cost, how fast they go, what plans want.

    `unit_price` is the average cost of one, `last_price` what one cost last; `warning` says what
    to order, and is empty when there is enough.
    """

    seen_with: ClassVar = dict.fromkeys(
        ["unit_price", "last_price", "last_paid_on", "quoted_price", "quoted_on", "value_cents"],
        VIEW_COSTS,
    )

    changed_at = changed.ChangedAtField(of="part")
    id = serializers.IntegerField(source="part.pk")
    code = serializers.CharField(source="part.code")
    name = serializers.CharField(source="part.name")
    kind = serializers.ChoiceField(PackagingPart.Kind.choices, source="part.kind")
    is_active = serializers.BooleanField(source="part.is_active")
    on_hand_pieces = serializers.IntegerField(source="on_hand")
    reorder_point_pieces = serializers.IntegerField(source="part.reorder_point")
    planned_pieces = serializers.IntegerField(source="planned")
    short_pieces = serializers.IntegerField(source="short")
    is_low = serializers.BooleanField()
    used_pieces = serializers.IntegerField(source="used", help_text="Used in the latest days.")
    pieces_per_day = DecimalFigureField(1)
    days_of_cover = serializers.IntegerField(allow_null=True)
    unit_price = DecimalFigureField(4, allow_null=True)
    last_price = DecimalFigureField(4, allow_null=True)
    last_paid_on = serializers.DateField(source="prices.last.paid_on", default=None)
    quoted_price = DecimalFigureField(4, source="part.quoted_price", allow_null=True)
    quoted_on = serializers.DateField(source="part.quoted_on", allow_null=True)
    lead_time_days = serializers.IntegerField(source="part.lead_time_days", allow_null=True)
    value_cents = serializers.IntegerField(allow_null=True)
    warning = serializers.CharField()


class PartsSerializer(serializers.Serializer):
    """All parts; `use_days` is over how many days their use is counted."""

    use_days = serializers.IntegerField()
    parts = PartSerializer(many=True)


class PartsApiView(ReadingApiView):
    @extend_schema(operation_id="parts", parameters=[changed.SINCE], responses=PartsSerializer)
    def get(self, request: Request) -> Response:
        """Every packaging part with its stock, its cost and its use.

        Its stock and cost are no change of a part; what it is called, and when to order it, are.
        """
        since, parts = changed.asked(request), part_queries.stock()
        changed_at = changed.note([each.part for each in parts])
        if since is not None:
            later = {key for key, at in changed_at.items() if at >= since}
            parts = [each for each in parts if each.part.pk in later]
        told = {"use_days": part_queries.USE_DAYS, "parts": parts}
        return Response(PartsSerializer(told, context=seen.of(request)).data)


class PartReceivedSerializer(SeenSerializer, serializers.ModelSerializer):
    """Parts that came in; `is_undone` where that was taken back."""

    seen_with: ClassVar = {"cost_cents": VIEW_COSTS}

    place = serializers.CharField(source="place.code")
    supplier = serializers.CharField(source="supplier.name", default=None)
    is_undone = serializers.BooleanField()

    class Meta:
        model = PartReceipt
        fields = [
            "id",
            "place",
            "place_id",
            "pieces",
            "cost_cents",
            "supplier",
            "supplier_id",
            "received_on",
            "posting",
            "is_undone",
        ]


class PartUsedInSerializer(serializers.Serializer):
    """A size or a product that a part goes into, so many for so many pieces."""

    size = serializers.CharField(source="size.code", default=None)
    size_id = serializers.IntegerField(source="size.pk", default=None)
    product = serializers.CharField(source="product.code", default=None)
    product_id = serializers.IntegerField(source="product.pk", default=None)
    quantity = serializers.IntegerField()
    per_pieces = serializers.IntegerField()


class PartDetailSerializer(PartSerializer):
    """A part with its places, what it goes into, and the latest of what came in."""

    use_days = serializers.SerializerMethodField()
    places = StockSerializer(many=True)
    used_in = serializers.SerializerMethodField()
    receipts = serializers.SerializerMethodField()
    corrections = serializers.SerializerMethodField()

    def get_use_days(self, row: Any) -> int:
        return part_queries.USE_DAYS

    @extend_schema_field(PartUsedInSerializer(many=True))
    def get_used_in(self, row: Any) -> Any:
        sizes = row.part.used_in.select_related("size").order_by("size__brimful_ml")
        products = row.part.used_in_products.select_related("product")
        return PartUsedInSerializer([*sizes, *products], many=True).data

    @extend_schema_field(PartReceivedSerializer(many=True))
    def get_receipts(self, row: Any) -> Any:
        return PartReceivedSerializer(
            receipts_of(row.part)[:RECEIPTS_SHOWN], many=True, context=self.context
        ).data

    @extend_schema_field(LotCorrectionSerializer(many=True))
    def get_corrections(self, row: Any) -> Any:
        context = {"sees_costs": sees_costs(self.context["request"])}
        found = corrections.of_part(row.part)
        return LotCorrectionSerializer(found, many=True, context=context).data


class PartApiView(ReadingApiView):
    @extend_schema(operation_id="part", responses=PartDetailSerializer)
    def get(self, request: Request, code: str) -> Response:
        """One packaging part."""
        [row] = part_queries.stock(only=part_of(code))
        return Response(PartDetailSerializer(row, context=seen.of(request)).data)


# ------------------------------------------------------------------ other goods


class GoodsInStockSerializer(SeenSerializer):
    """Other goods and their stock in `unit`; `unit_price` is the average cost of one piece, or of
    the house's unit of weight.
    """

    seen_with: ClassVar = dict.fromkeys(["unit_price", "value_cents"], VIEW_COSTS)

    id = serializers.IntegerField(source="product.pk")
    code = serializers.CharField(source="product.code")
    name = serializers.CharField(source="product.name")
    is_active = serializers.BooleanField(source="product.is_active")
    unit = serializers.SerializerMethodField()
    on_hand = serializers.IntegerField(source="stock.on_hand")
    reserved = serializers.IntegerField(source="stock.reserved")
    free = serializers.IntegerField(source="stock.free")
    is_low = serializers.BooleanField()
    unit_price = DecimalFigureField(4, allow_null=True)
    value_cents = serializers.IntegerField(source="stock.value_cents", allow_null=True)

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class GoodsListApiView(ReadingApiView):
    @extend_schema(operation_id="goods_list", responses=GoodsInStockSerializer(many=True))
    def get(self, request: Request) -> Response:
        """All other goods with their stock and what they cost; those out of use last."""
        return Response(
            GoodsInStockSerializer(
                goods_queries.all_goods(), many=True, context=seen.of(request)
            ).data
        )


class GoodsReceivedSerializer(SeenSerializer, serializers.ModelSerializer):
    """Goods that came in; `is_undone` where that was taken back."""

    seen_with: ClassVar = {"cost_cents": VIEW_COSTS}

    lot = serializers.CharField(source="lot.code")
    place = serializers.CharField(source="place.code")
    supplier = serializers.CharField(source="supplier.name", default=None)
    is_undone = serializers.BooleanField()

    class Meta:
        model = GoodsReceipt
        fields = [
            "id",
            "lot",
            "lot_id",
            "place",
            "place_id",
            "quantity",
            "cost_cents",
            "supplier",
            "supplier_id",
            "received_on",
            "posting",
            "is_undone",
        ]


class MaterialUsedSerializer(serializers.Serializer):
    item = serializers.CharField(source="item.name")
    item_id = serializers.IntegerField(source="item.pk")
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class GoodsMadeSerializer(SeenSerializer, serializers.ModelSerializer):
    """Goods that the house made, and what went into them."""

    seen_with: ClassVar = dict.fromkeys(["materials_cents", "labour_cents"], VIEW_COSTS)

    lot = serializers.CharField(source="lot.code")
    place = serializers.CharField(source="place.code")
    materials = serializers.SerializerMethodField()

    class Meta:
        model = GoodsMade
        fields = [
            "id",
            "lot",
            "lot_id",
            "place",
            "place_id",
            "quantity",
            "materials_cents",
            "labour_minutes",
            "labour_cents",
            "made_on",
            "posting",
            "materials",
        ]

    @extend_schema_field(MaterialUsedSerializer(many=True))
    def get_materials(self, row: GoodsMade) -> Any:
        return MaterialUsedSerializer(goods_queries.materials_of(row), many=True).data


class PlaceQuantitySerializer(serializers.Serializer):
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    quantity = serializers.IntegerField()


class GoodsDetailSerializer(GoodsInStockSerializer):
    """Some goods with their places, and the latest of what came in and was made."""

    places = serializers.SerializerMethodField()
    receipts = serializers.SerializerMethodField()
    made = serializers.SerializerMethodField()
    corrections = serializers.SerializerMethodField()

    @extend_schema_field(PlaceQuantitySerializer(many=True))
    def get_places(self, row: Any) -> Any:
        found = [
            {"place": place, "quantity": quantity} for place, quantity in row.stock.places.items()
        ]
        return PlaceQuantitySerializer(found, many=True).data

    @extend_schema_field(GoodsReceivedSerializer(many=True))
    def get_receipts(self, row: Any) -> Any:
        found = goods_queries.receipts(row.product).select_related("supplier")
        return GoodsReceivedSerializer(found[:ROWS_SHOWN], many=True, context=self.context).data

    @extend_schema_field(GoodsMadeSerializer(many=True))
    def get_made(self, row: Any) -> Any:
        return GoodsMadeSerializer(
            goods_queries.made(row.product)[:ROWS_SHOWN], many=True, context=self.context
        ).data

    @extend_schema_field(LotCorrectionSerializer(many=True))
    def get_corrections(self, row: Any) -> Any:
        context = {"sees_costs": sees_costs(self.context["request"])}
        found = corrections.of_goods(row.product)
        return LotCorrectionSerializer(found, many=True, context=context).data


class GoodsApiView(ReadingApiView):
    @extend_schema(operation_id="goods", responses=GoodsDetailSerializer)
    def get(self, request: Request, code: str) -> Response:
        """Some other goods."""
        return Response(
            GoodsDetailSerializer(goods_queries.of(goods_of(code)), context=seen.of(request)).data
        )


# ------------------------------------------------------------------ products, sizes, jars


class ProductInStockSerializer(serializers.Serializer):
    """A product, its pieces (or grams) in the stores, and below how many there are too few."""

    product = ProductSerializer()
    product_id = serializers.IntegerField(source="product.pk")
    on_hand = serializers.IntegerField()
    low_stock = serializers.IntegerField(source="product.low_stock_pieces")


class ProductsInStockApiView(ReadingApiView):
    @extend_schema(operation_id="products_in_stock", responses=ProductInStockSerializer(many=True))
    def get(self, request: Request) -> Response:
        """Every product with its stock: honey by size, then other goods and gift boxes."""
        listed = product_queries.product_list()
        rows = [*(row for size in listed.sizes for row in size.products), *listed.others]
        changed.note([row.product for row in rows])
        return Response(ProductInStockSerializer(rows, many=True).data)


class SizePartSerializer(serializers.ModelSerializer):
    part = serializers.CharField(source="part.code")

    class Meta:
        model = SizePart
        fields = ["part", "part_id", "quantity", "per_pieces"]


class SizeDetailsSerializer(serializers.Serializer):
    """A size, what its label says, and its parts; `parts_price` is what they cost for one."""

    id = serializers.IntegerField(source="size.pk")
    code = serializers.CharField(source="size.code")
    name = serializers.CharField(source="size.name")
    is_active = serializers.BooleanField(source="size.is_active")
    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    statement = serializers.CharField()
    figure_height_mm = serializers.IntegerField(allow_null=True)
    parts_price = DecimalFigureField(4, allow_null=True)
    parts = SizePartSerializer(source="uses", many=True)


class SizeDetailsApiView(ReadingApiView):
    @extend_schema(operation_id="sizes_in_detail", responses=SizeDetailsSerializer(many=True))
    def get(self, request: Request) -> Response:
        """Every size with its parts and what its label says."""
        return Response(SizeDetailsSerializer(size_queries.all_sizes(), many=True).data)


class JarsToDoSerializer(serializers.Serializer):
    """Jars that wait for a label, jars that came back, and the gift boxes there are to make."""

    unlabelled = StockSerializer(many=True)
    returned = ReturnedJarsSerializer(many=True)
    boxes = ProductSerializer(many=True)


class JarsToDoApiView(ReadingApiView):
    @extend_schema(operation_id="jars_to_do", responses=JarsToDoSerializer)
    def get(self, request: Request) -> Response:
        """Say which jars wait for something."""
        told = {
            "unlabelled": jar_queries.unlabelled_in_stock(),
            "returned": jar_queries.returned_to_decide(person_of(request)),
            "boxes": jar_queries.boxes(),
        }
        return Response(JarsToDoSerializer(told).data)


class JarsAtSerializer(serializers.Serializer):
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    quantity = serializers.IntegerField(source="balance.quantity")
    free = serializers.IntegerField()


class LotJarsSerializer(serializers.Serializer):
    """Where the pieces of a lot are, what can be done with them, and what was done."""

    lot = LotKeySerializer()
    at = JarsAtSerializer(many=True)
    can_be_labelled = serializers.BooleanField()
    can_be_emptied = serializers.BooleanField()
    is_box = serializers.BooleanField()
    came_from = JarChangeSerializer(many=True)
    became = JarChangeSerializer(many=True)
    returned = ReturnedJarsSerializer(many=True)
    held_parents = LotKeySerializer(many=True)
    code_on_jars = serializers.CharField()


class LotJarsApiView(ReadingApiView):
    @extend_schema(operation_id="lot_jars", responses=LotJarsSerializer)
    def get(self, request: Request, code: str, product: str) -> Response:
        """Say what can be done with the pieces of a lot."""
        return Response(LotJarsSerializer(jar_queries.jars_of(pieces_of(code, product))).data)


# ------------------------------------------------------------------ runs and bottling days


class ToSettleSerializer(serializers.Serializer):
    """Runs of a vessel on a day whose honey is estimated until a dip settles it."""

    source = serializers.CharField(source="source.code")  # type: ignore[assignment]
    source_id = serializers.IntegerField(source="source.pk")
    bottled_on = serializers.DateField()
    estimated_grams = serializers.IntegerField()
    runs = serializers.SerializerMethodField()

    def get_runs(self, row: bottling_days.ToSettle) -> list[str]:
        return [run.number for run in row.runs]


class BottlingOverviewSerializer(serializers.Serializer):
    """What is planned, what to order, what waits, and how the last runs went."""

    planned = RunSerializer(many=True)
    parts_to_order = PartSerializer(source="to_order", many=True)
    recent = serializers.SerializerMethodField()
    held_lots = LotKeySerializer(source="held", many=True)
    setting_lots = LotKeySerializer(source="setting", many=True)
    comb_to_cut = StockSerializer(many=True)
    open_sheets = BottlingDaySerializer(many=True)
    to_settle = ToSettleSerializer(many=True)

    @extend_schema_field(RunSerializer(many=True))
    def get_recent(self, row: Any) -> Any:
        return RunSerializer([run for run, _figures in row["recent"]], many=True).data


class BottlingOverviewApiView(ReadingApiView):
    @extend_schema(operation_id="bottling_overview", responses=BottlingOverviewSerializer)
    def get(self, request: Request) -> Response:
        """Say what the bottling room has to do."""
        overview = run_queries.overview()
        note_runs([*overview.planned, *(run for run, _figures in overview.recent)])
        changed.note([row.part for row in overview.to_order])
        told = {
            **vars(overview),
            "open_sheets": bottling_days.open_sheets(),
            "to_settle": bottling_days.to_settle(),
        }
        return Response(BottlingOverviewSerializer(told, context=seen.of(request)).data)


class PartUsedSerializer(serializers.ModelSerializer):
    """So many pieces of a part went into a run."""

    part = serializers.CharField(source="item.name")
    part_id = serializers.IntegerField(source="item.part.pk")
    pieces = serializers.SerializerMethodField()

    class Meta:
        model = PostingLine
        fields = ["part", "part_id", "pieces"]

    def get_pieces(self, line: PostingLine) -> int:
        return -line.quantity


class RunFiguresSerializer(serializers.Serializer):
    """What a recorded run made of its honey; a cost is null while it is not known, and to those
    who do not see costs.
    """

    yield_percent = DecimalFigureField(1)
    loss_percent = DecimalFigureField(1)
    overfill_grams = DecimalFigureField(1)
    overfill_grams_each = DecimalFigureField(1)
    is_underfilled = serializers.BooleanField()
    is_theirs = serializers.BooleanField()
    best_by = serializers.DateField(allow_null=True)
    honey_cents = serializers.IntegerField(allow_null=True)
    parts_cents = serializers.IntegerField(allow_null=True)
    labour_cents = serializers.IntegerField(allow_null=True)
    overfill_cents = serializers.IntegerField(allow_null=True)
    total_cents = serializers.IntegerField(allow_null=True)
    piece_price = DecimalFigureField(4, allow_null=True)

    COSTS = (
        "honey_cents",
        "parts_cents",
        "labour_cents",
        "overfill_cents",
        "total_cents",
        "piece_price",
    )

    def to_representation(self, instance: Any) -> Any:
        told = super().to_representation(instance)
        if not self.context["sees_costs"]:
            told |= dict.fromkeys(self.COSTS)
        return told


class CreamingSerializer(serializers.Serializer):
    """The seed of creamed honey, and where and how long it sets."""

    seed_source = serializers.CharField(source="seed_source.code", default=None)
    seed_percent = DecimalFigureField(1, allow_null=True)
    seed_lot = serializers.CharField(source="seed_lot.code", default=None)
    seed_grams = serializers.IntegerField()
    setting_place = serializers.CharField()
    setting_days = serializers.IntegerField(allow_null=True)


class RunReportSerializer(serializers.Serializer):
    """A run with its figures, which are null until it is recorded."""

    run = RunSerializer()
    figures = RunFiguresSerializer(allow_null=True)
    parts_used = PartUsedSerializer(many=True)
    creaming = CreamingSerializer(allow_null=True)
    settlements = SettlementSerializer(many=True)
    corrections = LotCorrectionSerializer(many=True)


class RunReportApiView(ReadingApiView):
    @extend_schema(operation_id="run_report", responses=RunReportSerializer)
    def get(self, request: Request, number: str) -> Response:
        """All there is to know about one run; its checks have an address of their own."""
        run = run_of(number)
        figures = run_queries.figures_of(run)
        told = {
            "run": run,
            "figures": figures,
            "parts_used": part_queries.uses_of(run) if figures else [],
            "creaming": additions.of_run(run).creaming,
            "settlements": bottling_days.settlements_of(run) if figures else [],
            "corrections": corrections.of_run(run) if figures else [],
        }
        context = {"sees_costs": sees_costs(request)}
        return Response(RunReportSerializer(told, context=context).data)


class BottlingDayResultSerializer(serializers.Serializer):
    """A bottling day, what it drew and filled, and what settled its estimates."""

    sheet = BottlingDaySerializer(source="day")
    drawn_grams = serializers.IntegerField()
    pieces_filled = serializers.IntegerField()
    settlements = SettlementSerializer(many=True)


class BottlingDayApiView(ReadingApiView):
    @extend_schema(operation_id="bottling_day", responses=BottlingDayResultSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One bottling day; a sheet that is not recorded yet has drawn nothing."""
        found = BottlingDay.objects.select_related("source", "target")
        result = bottling_days.result_of(get_object_or_404(found, pk=pk))
        return Response(BottlingDayResultSerializer(result).data)


# ------------------------------------------------------------------ label layouts


class LabelSheetsApiView(RowsApiView):
    """Every layout of sheets and rolls, those in use first."""

    permission_required = RUN_BOTTLING
    serializer_class = LabelSheetSerializer
    queryset = LabelSheet.objects.all()
    filterset_fields = ["paper", "is_active"]
    ordering_fields = ["id", "name"]
    ordering = ["-is_active", "name", "id"]


class LabelSheetApiView(RowApiView):
    """One layout."""

    permission_required = RUN_BOTTLING
    serializer_class = LabelSheetSerializer
    queryset = LabelSheet.objects.all()
    lookup_field = "code"


class LabelSheetTestApiView(PaperApiView):
    permission_required = RUN_BOTTLING

    @extend_schema(operation_id="label_sheet_test", responses=PDF)
    def get(self, request: Request, code: str) -> HttpResponse:
        """The page by which a printer is aligned to a layout."""
        sheet = get_object_or_404(LabelSheet, code=code)
        return documents.pdf_response(f"test-page-{sheet.code}.pdf", papers.test_page(sheet))

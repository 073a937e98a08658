"""What the stand sells and sold, through the API: prices and stock, receipts, takings, orders to
fetch, and what the office looks at.
"""

from typing import ClassVar

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters, seen
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.readings import DecimalFigureField, ReadingApiView, RowsApiView, refuse_errors
from apiary_sales.api.seen import VIEW_COSTS, SeenSerializer
from apiary_sales.api.serializers import InvoiceSerializer, OrderSerializer
from apiary_sales.api.stand_days import StandCashSerializer, StandDaySerializer
from apiary_sales.billing import market_papers, papers, papers_stand
from apiary_sales.billing.models import HandedInSale, Invoice, Payment, SaleMark, StandSale
from apiary_sales.billing.queries import market_days as market_queries
from apiary_sales.billing.queries import receipts as receipt_queries
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.queries import stand_days as day_queries
from apiary_sales.billing.queries import stand_marks as mark_queries
from apiary_sales.billing.queries import stand_pickups as pickup_queries
from apiary_sales.billing.queries.stand_takings import TakingsAsked
from apiary_sales.billing.views.market_days import market_day_of
from apiary_sales.billing.views.stand_days import asked_takings, day_of, takings_form
from apiary_sales.billing.views.stand_messages import catalogue_for
from apiary_sales.billing.views.stand_pickups import fetched_sale
from apiary_sales.orders.models import Order
from apiary_sales.pricing.models import TaxRate
from inventory.bottling.models import Product
from inventory.shared import documents, public_address
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.stock.models import Place

SELL = "orders.sell_at_stand"
SEE_MONEY = "billing.view_money"

# ------------------------------------------------------------------ what can be sold


class StandPlaceTodaySerializer(serializers.Serializer):
    """The sales of a place today; `methods` has the cents by way of paying."""

    sales = serializers.IntegerField()
    cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    methods = serializers.DictField(child=serializers.IntegerField())


class StandPlaceSerializer(serializers.Serializer):
    """A place at which you may sell; places of one `group` sell from the same stock."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(Place.Kind.choices)
    group = serializers.CharField()
    held = serializers.ListField(child=serializers.CharField())
    today = StandPlaceTodaySerializer()


class StandBreakSerializer(serializers.Serializer):
    """The price of one, and of a case, from so many pieces on."""

    pieces = serializers.IntegerField()
    piece_cents = serializers.IntegerField()
    case_cents = serializers.IntegerField(allow_null=True)


class StandPiecesSerializer(serializers.Serializer):
    """Pieces at a place: free to sell, setting until `ready_on`, and on hold."""

    free = serializers.IntegerField()
    setting = serializers.IntegerField()
    ready_on = serializers.DateField(allow_null=True)
    held = serializers.IntegerField()


class StandProductSerializer(serializers.Serializer):
    """A product with its prices and its pieces by place; `sold` is in the latest weeks."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(Product.Kind.choices)
    variety = serializers.CharField()
    variety_id = serializers.IntegerField(allow_null=True)
    gtin = serializers.CharField()
    per_case = serializers.IntegerField(allow_null=True)
    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices)
    breaks = StandBreakSerializer(many=True)
    sold = serializers.IntegerField()
    at = serializers.DictField(child=StandPiecesSerializer())


class StandWeighedSerializer(serializers.Serializer):
    """What is sold by weight; the price is of a unit that has `unit_grams`."""

    key = serializers.CharField()
    name = serializers.CharField()
    price_per_pound = DecimalFigureField(4, allow_null=True)
    unit_grams = serializers.CharField()
    taxed_as = serializers.ChoiceField(TaxRate.Goods.choices)
    places = serializers.ListField(child=serializers.CharField())


class StandTaxRateSerializer(serializers.Serializer):
    """A tax in ten-thousandths of a percent."""

    name = serializers.CharField()
    parts = serializers.IntegerField()


class StandTaxSerializer(serializers.Serializer):
    rates = serializers.DictField(child=StandTaxRateSerializer())
    by_line = serializers.BooleanField(help_text="Tax is rounded line by line.")
    included = serializers.BooleanField(help_text="Prices include tax.")


class StandSellerSerializer(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    has_pin = serializers.BooleanField()


class StandCatalogueSerializer(serializers.Serializer):
    """All that a till needs to sell for a while without asking again."""

    made_at = serializers.DateTimeField()
    tax = StandTaxSerializer()
    sellers = StandSellerSerializer(many=True)
    places = StandPlaceSerializer(many=True)
    products = StandProductSerializer(many=True)
    weighed = StandWeighedSerializer(many=True)
    handed_in_booked = serializers.ListField(
        child=serializers.CharField(),
        help_text="Keys of sales that were given to the office and are in the books by now.",
    )


class StandCatalogueApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="stand_catalogue", responses=StandCatalogueSerializer)
    def get(self, request: Request) -> Response:
        """Prices and stock at the places where you may sell, as they are now."""
        return Response(StandCatalogueSerializer(catalogue_for(request)).data)


# ------------------------------------------------------------------ receipts


class ReceiptSerializer(serializers.ModelSerializer):
    """A sale over the counter; `place` and `sold_by` are null of one that has none beside it."""

    number = serializers.CharField(source="__str__")
    sold_at = serializers.DateTimeField(source="stand_sale.sold_at", default=None)
    place = serializers.CharField(source="stand_sale.place.code", default=None)
    place_id = serializers.IntegerField(source="stand_sale.place_id", default=None)
    sold_by = serializers.CharField(source="stand_sale.sold_by.display_name", default=None)
    sold_by_id = serializers.IntegerField(source="stand_sale.sold_by_id", default=None)
    on_top_cents = serializers.IntegerField(source="stand_sale.on_top_cents", default=0)
    undone_on = serializers.DateField(source="stand_sale.undone_on", default=None)

    class Meta:
        model = Invoice
        fields = [
            "id",
            "number",
            "supplied_on",
            "sold_at",
            "place",
            "place_id",
            "sold_by",
            "sold_by_id",
            "currency",
            "net_cents",
            "tax_cents",
            "rounding_cents",
            "total_cents",
            "on_top_cents",
            "undone_on",
        ]


class GivenMoneySerializer(serializers.Serializer):
    """One way in which money was given; `tendered_cents` is the cash handed over."""

    method = serializers.ChoiceField(Payment.Method.choices)
    cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    tendered_cents = serializers.IntegerField(allow_null=True)
    change_cents = serializers.IntegerField()
    rounding_cents = serializers.IntegerField()
    reference = serializers.CharField()


class CameBackSerializer(serializers.Serializer):
    """What a credit note took back of a receipt."""

    note = serializers.CharField()
    note_id = serializers.IntegerField(source="note.pk")
    cents = serializers.IntegerField()
    text = serializers.CharField()


class ReceiptInFullSerializer(serializers.Serializer):
    """A receipt with its lines, how it was paid, and what came back of it."""

    receipt = InvoiceSerializer()
    sold_at = serializers.DateTimeField(allow_null=True)
    place = serializers.CharField(source="place_name")
    place_id = serializers.IntegerField(source="sale.place_id", default=None)
    seller = serializers.CharField(source="seller_name")
    money = GivenMoneySerializer(many=True)
    on_top_cents = serializers.IntegerField()
    change_cents = serializers.IntegerField()
    unpaid_cents = serializers.IntegerField()
    discount_cents = serializers.IntegerField()
    came_back = CameBackSerializer(many=True)
    undone_by = serializers.CharField(default=None)
    corrected_by = serializers.CharField(default=None)


class ReceiptsApiView(RowsApiView):
    """What was sold at the stand, the newest first: all of it, or what you may see of it."""

    permission_required = SELL
    serializer_class = ReceiptSerializer
    queryset = Invoice.objects.all()
    filterset_class = filters.ReceiptListFilters
    ordering_fields = ["id", "supplied_on", "total_cents"]
    ordering = ["-id"]

    def get_queryset(self) -> QuerySet[Invoice]:
        return receipt_queries.found(user=self.request.user).receipts


def receipt_of(request: Request, pk: int) -> Invoice:
    return get_object_or_404(receipt_queries.seen_by(request.user), pk=pk)


class ReceiptApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="receipt", responses=ReceiptInFullSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One receipt."""
        facts = receipt_queries.facts_of(receipt_of(request, pk))
        return Response(ReceiptInFullSerializer(facts).data)


class ReceiptPaperApiView(PaperApiView):
    permission_required = SELL

    @extend_schema(
        operation_id="receipt_paper",
        parameters=[
            OpenApiParameter(
                "paper",
                str,
                enum=House.ReceiptPaper.values,
                description="A page, or a roll of so many mm; as the house has it when left out.",
            )
        ],
        responses=PDF,
    )
    def get(self, request: Request, pk: int) -> HttpResponse:
        """A receipt on paper."""
        receipt = receipt_of(request, pk)
        paper = request.query_params.get("paper", "")
        if paper and paper not in House.ReceiptPaper:
            raise ValidationError({"paper": [_("Choose page, 80 or 58.")]})
        content = papers.receipt(receipt, paper, public_address.beginning(request))
        return documents.pdf_response(f"{receipt}.pdf", content)


# ------------------------------------------------------------------ takings and stand days


class TakingsRowSerializer(serializers.Serializer):
    name = serializers.CharField()
    count = serializers.IntegerField()
    cents = serializers.IntegerField()


class ProductTakingsSerializer(serializers.Serializer):
    """So much of a product, in its unit and in words, and what it came to with tax."""

    name = serializers.CharField()
    quantity = serializers.CharField()
    cents = serializers.IntegerField()


class TakingsSerializer(serializers.Serializer):
    """Sales added up. `cents` is all of them with tax; tips come on top."""

    count = serializers.IntegerField()
    cents = serializers.IntegerField()
    tax_cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    discount_cents = serializers.IntegerField()
    returned_cents = serializers.IntegerField()
    unpaid_cents = serializers.IntegerField()
    rounding_cents = serializers.IntegerField()
    undone_count = serializers.IntegerField()
    undone_cents = serializers.IntegerField()
    marks = serializers.IntegerField()
    open_marks = serializers.IntegerField()
    by_method = TakingsRowSerializer(many=True)
    by_place = TakingsRowSerializer(many=True)
    by_person = TakingsRowSerializer(many=True)
    by_hour = TakingsRowSerializer(many=True)
    by_product = ProductTakingsSerializer(many=True)


class TakingsAskedSerializer(serializers.Serializer):
    """The takings of some days, of a place and a person, or of all where they are null."""

    since = serializers.DateField(source="asked.since")
    until = serializers.DateField(source="asked.until")
    place = serializers.CharField(source="asked.place.code", default=None)
    place_id = serializers.IntegerField(source="asked.place.pk", default=None)
    person = serializers.CharField(source="asked.person.display_name", default=None)
    person_id = serializers.IntegerField(source="asked.person.pk", default=None)
    takings = TakingsSerializer()


OF_TAKINGS = [
    OpenApiParameter("since", OpenApiTypes.DATE, description="First day; `until` when left out."),
    OpenApiParameter("until", OpenApiTypes.DATE, description="Last day; today when left out."),
    OpenApiParameter("place", str, description="Short name of a place."),
    OpenApiParameter(
        "person",
        OpenApiTypes.INT,
        description="Key of a person; who may not see money sees what they sold themselves.",
    ),
]


def takings_asked(request: Request) -> TakingsAsked:
    """Return what was asked for; raises `ValidationError`."""
    form = takings_form(request)
    refuse_errors(form)
    return asked_takings(request, form)


class TakingsApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="takings", parameters=OF_TAKINGS, responses=TakingsAskedSerializer)
    def get(self, request: Request) -> Response:
        """Add up what was sold at the stand on some days, a year at most."""
        asked = takings_asked(request)
        return Response(TakingsAskedSerializer(papers_stand.takings_context(asked)).data)


class TakingsPaperApiView(PaperApiView):
    permission_required = SELL

    @extend_schema(operation_id="takings_paper", parameters=OF_TAKINGS, responses=PDF)
    def get(self, request: Request) -> HttpResponse:
        """The takings of some days on paper."""
        asked = takings_asked(request)
        context = papers_stand.takings_context(asked)
        content = documents.render_pdf("documents/stand_takings.html", context)
        return documents.pdf_response(f"takings-{asked.until.isoformat()}.pdf", content)


class DrawerSerializer(serializers.Serializer):
    """Where the cash of a drawer came from and went; so much should be in it."""

    float_cents = serializers.IntegerField()
    sold_cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    given_back_cents = serializers.IntegerField()
    in_cents = serializers.IntegerField()
    out_cents = serializers.IntegerField()
    expected_cents = serializers.IntegerField()


class CameAfterwardsSerializer(serializers.Serializer):
    """Sales that came in after a day was closed."""

    count = serializers.IntegerField()
    cents = serializers.IntegerField()
    late_count = serializers.IntegerField()
    late_cash_cents = serializers.IntegerField()
    difference_cents = serializers.IntegerField()


class StandDayReportSerializer(serializers.Serializer):
    """A day of a stand. What should be in the drawer is null until it was counted."""

    stand_day = StandDaySerializer()
    cash = StandCashSerializer(many=True)
    drawer = DrawerSerializer(allow_null=True)
    takings = TakingsSerializer(allow_null=True)
    afterwards = CameAfterwardsSerializer(allow_null=True)


class StandDayReportApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="stand_day_report", responses=StandDayReportSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """One day of a stand, with its cash and, once it is closed, its takings."""
        shown = day_queries.shown(day_of(request, pk))
        is_closed = shown.closing is not None
        told = {
            "stand_day": shown.stand_day,
            "cash": shown.cash,
            "drawer": shown.drawer if is_closed else None,
            "takings": shown.takings if is_closed else None,
            "afterwards": shown.afterwards,
        }
        return Response(StandDayReportSerializer(told).data)


class StandDayPaperApiView(PaperApiView):
    permission_required = SELL

    @extend_schema(operation_id="stand_day_paper", responses=PDF)
    def get(self, request: Request, pk: int) -> HttpResponse:
        """A closed day of a stand on paper."""
        day = day_of(request, pk)
        if day.closing is None:
            raise NotFound(_("This day is not closed yet."))
        context = papers_stand.stand_day_context(day)
        content = documents.render_pdf("documents/stand_day.html", context)
        return documents.pdf_response(f"stand-day-{pk}.pdf", content)


# ------------------------------------------------------------------ orders to fetch


class ReadyAtSerializer(serializers.Serializer):
    """Where pieces of an order are reserved, and which of them in words."""

    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    text = serializers.CharField()


class PickupSerializer(serializers.Serializer):
    """An open order that its buyer fetches; `to_pay_cents` is for all of it, fetched today."""

    id = serializers.IntegerField(source="order.pk")
    order = serializers.CharField(source="order.number")
    order_id = serializers.IntegerField(source="order.pk")
    customer = serializers.CharField(source="order.customer.name", default=None)
    customer_id = serializers.IntegerField(source="order.customer_id", allow_null=True)
    wanted_on = serializers.DateField(source="order.wanted_on", allow_null=True)
    text = serializers.CharField()
    total_cents = serializers.IntegerField()
    to_pay_cents = serializers.IntegerField()
    ready = ReadyAtSerializer(many=True)
    is_ready = serializers.BooleanField()


class PickupsApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(
        operation_id="pickups",
        parameters=[
            OpenApiParameter("text", str, description="Part of a number or of a customer's name.")
        ],
        responses=PickupSerializer(many=True),
    )
    def get(self, request: Request) -> Response:
        """The orders that buyers fetch, those wanted first at the top."""
        text = request.query_params.get("text", "").replace("\x00", "")
        return Response(PickupSerializer(pickup_queries.waiting(text), many=True).data)


class PickupLineSerializer(serializers.Serializer):
    """A line to hand over: what of it is at the place, and how much is elsewhere or on hold."""

    line = serializers.IntegerField(source="line.pk")
    description = serializers.CharField(source="line.description")
    to_fill = serializers.IntegerField(source="line.to_fill")
    reserved_here = serializers.IntegerField()
    free_here = serializers.IntegerField()
    elsewhere = serializers.SerializerMethodField()
    on_hold = serializers.IntegerField()
    suggested = serializers.IntegerField()

    def get_elsewhere(self, row: pickup_queries.PickupLine) -> int:
        return sum(count for _place, count in row.elsewhere)


class PickupToHandOverSerializer(serializers.Serializer):
    """An order to fetch, and what of it can be handed over at a place."""

    order = OrderSerializer()
    place = serializers.CharField(source="place.code", default=None)
    place_id = serializers.IntegerField(source="place.pk", default=None)
    lines = PickupLineSerializer(many=True)
    was_fetched = serializers.BooleanField()


class PickupApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(
        operation_id="pickup",
        parameters=[
            OpenApiParameter(
                "place", str, description="A place of yours; where the order is when left out."
            )
        ],
        responses=PickupToHandOverSerializer,
    )
    def get(self, request: Request, number: str) -> Response:
        """One order that its buyer fetches, and what is left of it."""
        order = get_object_or_404(Order.objects.select_related("customer"), number=number)
        person = person_of(request)
        if not pickup_queries.may_look_at(order, person):
            raise Http404
        places = list(stand_queries.places(person))
        asked = request.query_params.get("place") or pickup_queries.place_of(order, places)
        place = stand_queries.chosen(places, asked)
        is_open = order.status in Order.OPEN_STATUSES
        told = {
            "order": order,
            "place": place,
            "lines": pickup_queries.lines_at(order, place) if place and is_open else [],
            "was_fetched": pickup_queries.fetched(order, person).exists(),
        }
        return Response(PickupToHandOverSerializer(told).data)


class FetchedSaleSerializer(serializers.Serializer):
    """What was handed over last of an order: its invoice, and how it was paid."""

    sold_at = serializers.DateTimeField()
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField()
    invoice = InvoiceSerializer(source="receipt")
    change_cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()


class FetchedSaleApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="pickup_done", responses=FetchedSaleSerializer)
    def get(self, request: Request, number: str) -> Response:
        """What was handed over last of an order that was fetched."""
        return Response(FetchedSaleSerializer(fetched_sale(request, number)).data)


class FetchedInvoicePaperApiView(PaperApiView):
    permission_required = SELL

    @extend_schema(operation_id="pickup_invoice_paper", responses=PDF)
    def get(self, request: Request, number: str) -> HttpResponse:
        """The invoice of what was handed over last of an order, on paper."""
        invoice = fetched_sale(request, number).receipt
        return documents.pdf_response(f"{invoice}.pdf", papers.invoice(invoice))


# ------------------------------------------------------------------ what the office looks at


class SaleMarkSerializer(serializers.ModelSerializer):
    """What did not fit of a sale; `seen_at` is null until somebody of the office looked."""

    seen_by = serializers.CharField(source="seen_by.display_name", default=None)

    class Meta:
        model = SaleMark
        fields = ["id", "kind", "text", "seen_by", "seen_by_id", "seen_at", "note"]


class MarkedSaleSerializer(serializers.ModelSerializer):
    """A sale at the stand with marks."""

    receipt = serializers.CharField()
    receipt_id = serializers.IntegerField()
    place = serializers.CharField(source="place.code")
    sold_by = serializers.CharField(source="sold_by.display_name")
    total_cents = serializers.IntegerField()
    marks = SaleMarkSerializer(many=True)

    class Meta:
        model = StandSale
        fields = [
            "id",
            "receipt",
            "receipt_id",
            "place",
            "place_id",
            "sold_at",
            "sold_by",
            "sold_by_id",
            "total_cents",
            "undone_on",
            "marks",
        ]


class MarkedSalesApiView(RowsApiView):
    """The sales with marks that nobody has looked at yet, the newest first."""

    permission_required = SEE_MONEY
    serializer_class = MarkedSaleSerializer
    queryset = StandSale.objects.all()
    filterset_class = filters.MarkedSaleListFilters
    ordering_fields = ["id", "sold_at"]
    ordering = ["-id"]

    def get_queryset(self) -> QuerySet[StandSale]:
        return mark_queries.sales(is_seen=False)


class SeenSalesApiView(MarkedSalesApiView):
    """The sales whose marks were looked at, the newest first."""

    def get_queryset(self) -> QuerySet[StandSale]:
        return mark_queries.sales(is_seen=True)


class HandedInSaleSerializer(serializers.ModelSerializer):
    """A sale that a device could not book; `receipt` is what it became, if it did."""

    handed_in_by = serializers.CharField(source="handed_in_by.display_name")
    settled_by = serializers.CharField(source="settled_by.display_name", default=None)
    receipt = serializers.CharField(source="sale.receipt", default=None)
    receipt_id = serializers.IntegerField(source="sale.receipt_id", default=None)

    class Meta:
        model = HandedInSale
        fields = [
            "id",
            "key",
            "device",
            "body",
            "text",
            "reason",
            "handed_in_by",
            "handed_in_by_id",
            "handed_in_at",
            "receipt",
            "receipt_id",
            "settled_by",
            "settled_by_id",
            "settled_at",
            "note",
        ]


class HandedInRowsApiView(RowsApiView):
    """The sales that were given to the office and wait to be settled, the newest first."""

    permission_required = SEE_MONEY
    serializer_class: type[serializers.Serializer] = HandedInSaleSerializer
    queryset = mark_queries.handed_in(is_settled=False)
    filterset_class = filters.HandedInSaleListFilters
    ordering_fields = ["id", "handed_in_at"]
    ordering = ["-id"]


class SettledHandedInSalesApiView(HandedInRowsApiView):
    """The sales that were given to the office and are settled, the newest first."""

    queryset = mark_queries.handed_in(is_settled=True)


# ------------------------------------------------------------------ market days


class MarketHistorySerializer(SeenSerializer):
    """What the days of one market brought; what was earned is null for who may not see costs."""

    seen_with: ClassVar = dict.fromkeys(
        ["earned_cents", "mean_earned_cents", "hourly_cents"], VIEW_COSTS
    )

    market = serializers.CharField()
    earned_cents = serializers.IntegerField(allow_null=True)
    mean_earned_cents = serializers.IntegerField(allow_null=True)
    hourly_cents = serializers.IntegerField(allow_null=True)
    days = serializers.SerializerMethodField()

    def get_days(self, row: market_queries.MarketHistory) -> int:
        return len(row.results)


class MarketsApiView(ReadingApiView):
    permission_required = SELL

    @extend_schema(operation_id="markets", responses=MarketHistorySerializer(many=True))
    def get(self, request: Request) -> Response:
        """What each market brought so far."""
        found = market_queries.by_market(market_queries.past())
        return Response(MarketHistorySerializer(found, many=True, context=seen.of(request)).data)


class MarketLoadListApiView(PaperApiView):
    permission_required = SELL

    @extend_schema(operation_id="market_load_list", responses=PDF)
    def get(self, request: Request, pk: int) -> HttpResponse:
        """The load list of a market day on paper."""
        day = market_day_of(pk)
        return documents.pdf_response(f"load-list-{pk}.pdf", market_papers.load_list(day))

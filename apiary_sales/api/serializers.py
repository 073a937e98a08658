"""What the API shows and takes. Figures carry their unit in their name: grams, pieces, cents."""

import re
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.changed import ChangedAtField
from apiary_sales.api.sold_at import SoldAtField
from apiary_sales.billing.models import (
    Adjustment,
    Allocation,
    Invoice,
    InvoiceLine,
    InvoiceLineTax,
    Payment,
    SaleMark,
)
from apiary_sales.billing.rules import taxes_of
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules.changes import state_of
from inventory.bottling.models import Product, Size
from inventory.shared.row_keys import KEY_MAX
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine
from inventory.stock.queries import corrections
from inventory.stock.rules import PIECES_MAX
from inventory.stock.services import lots

# Ten million in money: more is a typing error, and could overflow sums in the database.
CENTS_MAX = 1_000_000_000


class StrictIntegerField(serializers.IntegerField):
    """A whole JSON number: neither text nor true nor 1.0 counts as one."""

    def to_internal_value(self, data):
        if not isinstance(data, int) or isinstance(data, bool):
            self.fail("invalid")
        return super().to_internal_value(data)


class StrictDecimalField(serializers.DecimalField):
    """A JSON number, or a decimal in a string: "17.4", always with a point and ungrouped."""

    def to_internal_value(self, data):
        is_number = isinstance(data, int | float) and not isinstance(data, bool)
        is_written = isinstance(data, str) and re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", data)
        if not (is_number or is_written):
            self.fail("invalid")
        return super().to_internal_value(data)


class StrictCharField(serializers.CharField):
    """A JSON string: a number does not count as one."""

    def to_internal_value(self, data):
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


@extend_schema_field({"oneOf": [{"type": "string"}, {"type": "integer"}]})
class CodeField(serializers.SlugRelatedField):
    """The code of a place or product that is there, or its name where it has no code; or its id.

    A text is always a code, and a whole number always an id.
    """

    def __init__(self, slug_field: str = "code", **kwargs) -> None:
        super().__init__(slug_field=slug_field, **kwargs)

    def to_internal_value(self, data):
        if isinstance(data, int) and not isinstance(data, bool):
            found = self.get_queryset().filter(pk=data).first() if 0 < data <= KEY_MAX else None
            if found is None:
                self.fail("does_not_exist", slug_name="id", value=data)
            return found
        # PostgreSQL does not even take the question.
        if isinstance(data, str) and "\x00" in data:
            self.fail("does_not_exist", slug_name=self.slug_field, value=data)
        return super().to_internal_value(data)


def field_of(serializer: serializers.Serializer, parameter: str | None) -> str | None:
    """Return where in a body a parameter of a service is: the path of its field, or None.

    Both are dotted, with positions in lists: `lines.0.quantity` may be `lines.0.pieces`. Of what
    has no field of its own, the innermost field around it is returned.
    """
    found: list[str] = []
    inside: Any = serializer
    for part in (parameter or "").split("."):
        if part.isdecimal() and hasattr(inside, "child"):
            found.append(part)
            inside = inside.child
        else:
            fields = getattr(inside, "fields", {})
            name = next((name for name in fields if fields[name].source == part), None)
            if name is None:
                break
            found.append(name)
            inside = fields[name]
    return ".".join(found) or None


class PlaceSerializer(RowSerializer):
    changed_at = ChangedAtField()

    class Meta:
        model = Place
        fields = [
            "id",
            "code",
            "name",
            "kind",
            "tare_grams",
            "capacity_litres",
            "is_active",
            "changed_at",
        ]


def unit_of(item: Item) -> str:
    """Return what quantities of an item are counted in."""
    return "grams" if item.is_weighed else "pieces"


class LotSerializer(RowSerializer):
    changed_at = ChangedAtField()
    colour_class = serializers.CharField(read_only=True, allow_null=True)
    moisture_grade = serializers.CharField(read_only=True)
    unit = serializers.SerializerMethodField()
    product: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="code", read_only=True, allow_null=True
    )
    supplier = serializers.CharField(source="supplier.name", default=None, read_only=True)
    owner = serializers.CharField(
        source="owner.name",
        default=None,
        read_only=True,
        help_text="The beekeeper it belongs to; null for stock of the house.",
    )

    class Meta:
        model = Lot
        fields = [
            "id",
            "code",
            "kind",
            "season",
            "floral_source",
            "yard",
            "made_on",
            "moisture_percent",
            "moisture_grade",
            "colour_mm",
            "colour_class",
            "quantity_made",
            "unit",
            "product",
            "best_by",
            "ready_on",
            "is_on_hold",
            "supplier",
            "supplier_lot",
            "country",
            "region",
            "owner",
            "changed_at",
        ]

    def get_unit(self, lot: Lot) -> str:
        return unit_of(lot.product.item) if lot.product else "grams"


class StockSerializer(RowSerializer):
    """How much of an item and lot is at a place, in its `unit`: grams or pieces.

    Item, place and lot together are what one row is known by.

    Grams of bulk honey and of goods by weight, pieces of all else.
    """

    item = serializers.CharField(source="item.name")
    kind = serializers.CharField(source="item.kind")
    place = serializers.CharField(source="place.code")
    lot = serializers.CharField(source="lot.code", default=None)
    free = serializers.SerializerMethodField()
    owner = serializers.CharField(
        source="lot.owner.name",
        default=None,
        help_text="The beekeeper it belongs to; null for stock of the house.",
    )

    unit = serializers.SerializerMethodField()

    class Meta:
        model = Balance
        fields = [
            "item",
            "kind",
            "place",
            "lot",
            "quantity",
            "reserved",
            "free",
            "owner",
            "unit",
        ]

    def get_free(self, balance: Balance) -> int:
        """What can be sold; none of what belongs to another beekeeper."""
        return 0 if balance.lot and balance.lot.owner_id else balance.free

    def get_unit(self, balance: Balance) -> str:
        return unit_of(balance.item)


class SizeSerializer(RowSerializer):
    changed_at = ChangedAtField()

    class Meta:
        model = Size
        fields = [
            "id",
            "code",
            "name",
            "declared_amount",
            "declared_unit",
            "brimful_ml",
            "pieces_per_case",
            "is_active",
            "changed_at",
        ]


class ProductSerializer(RowSerializer):
    """What is sold; honey has a size, a form and, where they are told, a variety and a brand.

    `unit` is what it is counted in: "pieces", or "grams" for goods by weight.
    """

    changed_at = ChangedAtField()
    unit = serializers.SerializerMethodField()

    size: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="code", read_only=True, allow_null=True
    )
    variety: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="name", read_only=True, allow_null=True
    )
    brand: serializers.SlugRelatedField = serializers.SlugRelatedField(
        slug_field="name", read_only=True, allow_null=True
    )

    class Meta:
        model = Product
        fields = [
            "id",
            "code",
            "name",
            "kind",
            "unit",
            "size",
            "variety",
            "form",
            "brand",
            "gtin",
            "is_active",
            "changed_at",
        ]

    def get_unit(self, product: Product) -> str:
        return unit_of(product.item)


class PostingLineSerializer(RowSerializer):
    item = serializers.CharField(source="item.name")
    place = serializers.CharField(source="place.code")
    lot = serializers.CharField(source="lot.code", default=None)

    class Meta:
        model = PostingLine
        fields = ["id", "item", "place", "lot", "quantity"]


class PostingLineNowSerializer(PostingLineSerializer):
    """A line as it is with the corrections; it has no `id` of its own."""

    id = serializers.IntegerField(read_only=True, allow_null=True)

    class Meta(PostingLineSerializer.Meta):
        pass


class PostingSerializer(RowSerializer):
    """One thing that happened: as it was entered, and with its corrections in `lines_now`."""

    lines = PostingLineSerializer(many=True, read_only=True)
    lines_now = serializers.SerializerMethodField()
    corrections: serializers.PrimaryKeyRelatedField = serializers.PrimaryKeyRelatedField(
        many=True, read_only=True
    )
    recorded_by = serializers.CharField(source="recorded_by.username", read_only=True)

    class Meta:
        model = Posting
        fields = [
            "id",
            "kind",
            "occurred_at",
            "recorded_at",
            "recorded_by",
            "note",
            "reverses",
            "corrects",
            "caused_by",
            "corrections",
            "lines",
            "lines_now",
        ]

    @extend_schema_field(PostingLineNowSerializer(many=True))
    def get_lines_now(self, posting: Posting) -> Any:
        return PostingLineNowSerializer(corrections.lines_now(posting), many=True).data


class CertificateSerializer(RowSerializer):
    """What frees a customer from sales tax, from a day to a day."""

    customer = serializers.CharField(source="customer.name", read_only=True)
    accepted_by = serializers.CharField(
        source="accepted_by.display_name", default=None, read_only=True
    )

    class Meta:
        model = ExemptionCertificate
        fields = [
            "id",
            "customer",
            "number",
            "jurisdiction",
            "reason",
            "other_reason",
            "valid_from",
            "expires",
            "accepted_by",
            "accepted_on",
        ]


class CustomerSerializer(RowSerializer):
    changed_at = ChangedAtField()
    certificates = CertificateSerializer(many=True, read_only=True)

    class Meta:
        model = Customer
        fields = [
            "id",
            "name",
            "kind",
            "tier",
            "contact",
            "email",
            "phone",
            "street",
            "city",
            "region",
            "postal_code",
            "country",
            "terms_days",
            "credit_limit_cents",
            "country_code",
            "tax_number",
            "invoice_format",
            "buyer_reference",
            "language",
            "discount_percent",
            "discount_days",
            "certificates",
            "is_active",
            "note",
            "changed_at",
        ]


def _handed_over(line: OrderLine) -> list[FulfilmentLine]:
    """Return what was handed over of a line and not taken back as a whole."""
    return [part for part in line.fulfilment_lines.all() if not part.fulfilment.is_taken_back]


class BillNamedSerializer(serializers.Serializer):
    """A bill by its id and number."""

    id = serializers.IntegerField()
    number = serializers.CharField(source="__str__")


class OrderLineSerializer(RowSerializer):
    product = serializers.CharField(source="product.code", default=None)
    drum = serializers.CharField(source="drum.code", default=None)
    service = serializers.CharField(source="service.code", default=None)
    unit = serializers.SerializerMethodField(
        help_text="What `quantity` counts: pieces, grams, or hundredths of a service's unit."
    )
    returned = serializers.SerializerMethodField(help_text="What of `filled` came back.")
    invoiced = serializers.SerializerMethodField(help_text="What of `filled` is on an invoice.")
    invoiced_cents = serializers.SerializerMethodField(
        help_text="What its invoices come to before tax, less what was credited."
    )

    class Meta:
        model = OrderLine
        fields = [
            "id",
            "kind",
            "product",
            "drum",
            "is_drawn",
            "service",
            "unit",
            "description",
            "quantity",
            "unit_price",
            "price_reason",
            "discount_cents",
            "rounding_cents",
            "amount_cents",
            "filled",
            "to_fill",
            "returned",
            "invoiced",
            "invoiced_cents",
            "gave_way",
        ]

    def get_returned(self, line: OrderLine) -> int:
        return sum(part.returned for part in _handed_over(line))

    def get_invoiced(self, line: OrderLine) -> int:
        return sum(part.quantity for part in _handed_over(line) if part.billed_cents is not None)

    def get_invoiced_cents(self, line: OrderLine) -> int:
        return sum(part.billed_cents or 0 for part in _handed_over(line))

    def get_unit(self, line: OrderLine) -> str:
        if line.is_by_weight:
            return "gram"
        if line.service is not None:
            return f"hundredth of {line.service.unit}"
        return "piece"


class OrderSerializer(RowSerializer):
    changed_at = ChangedAtField()
    lines = OrderLineSerializer(many=True, read_only=True)
    customer = serializers.CharField(source="customer.name", default=None)
    total_cents = serializers.IntegerField(read_only=True)
    status = serializers.SerializerMethodField(
        help_text="A quote past its last day is expired, without anybody doing a thing."
    )
    state = serializers.SerializerMethodField(
        help_text="Differs once it was changed; send it back as `seen` with a change."
    )
    supersedes = serializers.CharField(source="supersedes.number", default=None)
    invoices = BillNamedSerializer(many=True, read_only=True)

    class Meta:
        model = Order
        fields = [
            "id",
            "number",
            "channel",
            "status",
            "customer",
            "placed_on",
            "wanted_on",
            "valid_until",
            "customer_reference",
            "ship_to",
            "note",
            "supersedes",
            "state",
            "total_cents",
            "invoices",
            "lines",
            "changed_at",
        ]

    @extend_schema_field(serializers.ChoiceField(choices=Order.Status.choices))
    def get_status(self, order: Order) -> str:
        return str(order.state_on(timezone.localdate()))

    def get_state(self, order: Order) -> str:
        return state_of(order, order.lines.all())


class InvoiceLineTaxSerializer(RowSerializer):
    class Meta:
        model = InvoiceLineTax
        fields = ["id", "name", "jurisdiction", "percent", "base_cents", "tax_cents"]


class InvoiceLineSerializer(RowSerializer):
    """A line of a bill; `goods` names what was handed over, to book it back.

    `quantity` is in its `unit`, and `unit_price` of one of it. `amount_cents` is before tax: what
    `taxes` are on is the `base_cents` of each.
    """

    taxes = InvoiceLineTaxSerializer(many=True, read_only=True)
    goods = serializers.IntegerField(source="fulfilment_line_id", allow_null=True, read_only=True)

    class Meta:
        model = InvoiceLine
        fields = [
            "id",
            "goods",
            "credits_line",
            "credited_as",
            "description",
            "lot_code",
            "quantity",
            "unit",
            "unit_price",
            "discount_cents",
            "amount_cents",
            "tax_category",
            "exemption_reason",
            "tax_name",
            "tax_percent",
            "tax_cents",
            "rounding_cents",
            "tax_category",
            "exemption_reason",
            "taxes",
        ]


class PutToInvoiceSerializer(RowSerializer):
    """So much of a payment put to an invoice; below zero, taken off it again."""

    method = serializers.CharField(source="payment.method")

    class Meta:
        model = Allocation
        fields = ["id", "payment", "method", "put_on", "amount_cents"]


class AdjustedSerializer(RowSerializer):
    """What was taken off an invoice without payment; below zero, that was undone."""

    class Meta:
        model = Adjustment
        fields = ["id", "kind", "net_cents", "tax_cents", "happened_on"]


class TaxSumSerializer(serializers.Serializer):
    """What one tax at one rate is on, and the tax; or what bears none, with its reason as name."""

    category = serializers.ChoiceField(choices=InvoiceLine.TaxCategory.choices)
    name = serializers.CharField()
    percent = serializers.DecimalField(max_digits=7, decimal_places=4)
    base_cents = serializers.IntegerField(source="net_cents")
    tax_cents = serializers.IntegerField()


class InvoiceSerializer(RowSerializer):
    """An invoice, stand receipt or credit note, and all that was put to it.

    `open_cents` is what is still to be paid: the total, less its `credit_notes`, `payments` and
    `adjustments`. A credit note names the invoice that it `credits`, and a corrected invoice the
    one that it `corrects`.
    """

    changed_at = ChangedAtField()
    number = serializers.CharField(source="__str__", read_only=True)
    credits = serializers.CharField(default=None, allow_null=True, read_only=True)
    corrects = serializers.CharField(default=None, allow_null=True, read_only=True)
    corrected_by = serializers.CharField(default=None, allow_null=True, read_only=True)
    credit_notes = BillNamedSerializer(many=True, read_only=True)
    payments = PutToInvoiceSerializer(many=True, read_only=True, source="allocations")
    adjustments = AdjustedSerializer(many=True, read_only=True)
    taxes = serializers.SerializerMethodField()
    customer = serializers.CharField(source="customer.name", default=None)
    order = serializers.CharField(source="order.number", default=None)
    lines = InvoiceLineSerializer(many=True, read_only=True)

    class Meta:
        model = Invoice
        fields = [
            "id",
            "number",
            "customer",
            "order",
            "series",
            "credits",
            "credit_notes",
            "corrects",
            "corrected_by",
            "issued_on",
            "supplied_on",
            "due_on",
            "currency",
            "net_cents",
            "tax_cents",
            "rounding_cents",
            "total_cents",
            "prices_include_tax",
            "open_cents",
            "discount_percent",
            "discount_until",
            "taxes",
            "payments",
            "adjustments",
            "lines",
            "changed_at",
        ]

    @extend_schema_field(TaxSumSerializer(many=True))
    def get_taxes(self, invoice: Invoice) -> Any:
        lines = list(invoice.lines.all())
        sums = taxes_of(lines, [tax for line in lines for tax in line.taxes.all()])
        return TaxSumSerializer(sums, many=True).data


class ReadingSerializer(serializers.Serializer):
    """The moisture of honey: in percent, as a refractometer's index, or in °Brix."""

    brix = StrictDecimalField(max_digits=4, decimal_places=2, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Turn what was read as °Brix into the index that the refractometer saw."""
        brix = attrs.pop("brix", None)
        if brix is not None and attrs.get("refractive_index") is None:
            attrs["refractive_index"] = lots.index_from_brix(brix)
        return attrs


class ExtractionSerializer(ReadingSerializer):
    """An extraction received into a vessel; moisture as percent, index or °Brix."""

    place = CodeField(queryset=Place.objects.all())
    grams = StrictIntegerField(min_value=1)
    season = StrictIntegerField(min_value=1900, max_value=2200)
    floral_source = StrictCharField(max_length=120)
    yard = StrictCharField(max_length=120, required=False, allow_blank=True)
    extracted_on = serializers.DateField()
    moisture_percent = StrictDecimalField(
        max_digits=4, decimal_places=2, required=False, allow_null=True
    )
    refractive_index = StrictDecimalField(
        max_digits=6, decimal_places=5, required=False, allow_null=True
    )
    refractometer_celsius = StrictDecimalField(
        max_digits=4, decimal_places=1, required=False, allow_null=True
    )
    colour_mm = StrictDecimalField(max_digits=4, decimal_places=1, required=False, allow_null=True)
    cost_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX
    )


class TransferSerializer(serializers.Serializer):
    """Honey poured from one vessel into another."""

    # The metaclass takes fields out of the class, so they may be called as attributes of it.
    source = CodeField(queryset=Place.objects.all())  # type: ignore[assignment]
    target = CodeField(queryset=Place.objects.all())
    grams = StrictIntegerField(min_value=1)
    poured_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(max_length=300, required=False, allow_blank=True)


class StandSaleLineSerializer(serializers.Serializer):
    product = CodeField(queryset=Product.objects.for_sale())
    pieces = StrictIntegerField(min_value=1, max_value=PIECES_MAX, source="quantity")


class PaymentMadeSerializer(serializers.Serializer):
    """One way in which a sale was paid; without an amount it pays what the others leave."""

    method = serializers.ChoiceField(choices=Payment.WAYS)
    cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX, default=None
    )
    tendered_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX, default=None
    )
    reference = serializers.CharField(
        required=False, allow_blank=True, max_length=60, default="", help_text="The check's number."
    )


class StandSaleSerializer(serializers.Serializer):
    """Jars sold over the counter, paid at once; prices come from the stand's price list.

    `payments` says how it was paid; one way alone may be sent as `method` and `tendered_cents`.
    """

    place = CodeField(queryset=Place.objects.filter(kind__in=Place.STORES))
    lines = StandSaleLineSerializer(many=True, allow_empty=False)
    payments = PaymentMadeSerializer(many=True, required=False, allow_empty=False)
    on_top_cents = StrictIntegerField(required=False, min_value=0, max_value=CENTS_MAX, default=0)
    method = serializers.ChoiceField(choices=Payment.WAYS, required=False)
    tendered_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX, default=None
    )
    discount_cents = StrictIntegerField(required=False, min_value=0, max_value=CENTS_MAX, default=0)
    sold_at = SoldAtField()

    def validate(self, attrs):
        if ("payments" in attrs) == ("method" in attrs):
            raise serializers.ValidationError(
                {"payments": _("Send how it was paid: payments, or a method, and not both.")}
            )
        return attrs


class MarkTextSerializer(serializers.Serializer):
    """What did not fit of a sale that is booked all the same; the office looks at it."""

    kind = serializers.ChoiceField(SaleMark.Kind.choices)
    text = serializers.CharField()


class StandSaleMadeSerializer(AnswerSerializer):
    """The receipt of a stand sale, and what did not fit of it: other money, a shortage."""

    order = serializers.CharField(source="order.number")
    receipt = serializers.CharField(source="invoice.__str__")
    receipt_id = serializers.IntegerField(source="invoice.pk")
    total_cents = serializers.IntegerField(source="invoice.total_cents")
    tax_cents = serializers.IntegerField(source="invoice.tax_cents")
    change_cents = serializers.IntegerField()
    marks = MarkTextSerializer(many=True)


class ProblemFieldSerializer(serializers.Serializer):
    field = serializers.CharField(allow_null=True)
    code = serializers.CharField()
    detail = serializers.CharField()


class ProblemSerializer(serializers.Serializer):
    """Problem details, RFC 9457."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    detail = serializers.CharField()
    errors = ProblemFieldSerializer(many=True)  # type: ignore[assignment]
    made = serializers.DictField(
        required=False,
        help_text=(
            "For already_recorded: what the key made when it came first, a stand sale, a run or an "
            "invoice as it was answered then, and what moved stock as its posting."
        ),
    )
    recorded = serializers.JSONField(
        required=False,
        help_text="For key_used: what was answered to the act that the key was first sent with.",
    )
    address = serializers.CharField(
        required=False, help_text="For moved: the address to send the act to."
    )

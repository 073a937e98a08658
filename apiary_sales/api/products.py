"""Products through the API: honey, other goods and gift boxes; varieties and brands."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import IdField, PiecesCountField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import (
    CodeField,
    ProductSerializer,
    StrictCharField,
    StrictIntegerField,
)
from apiary_sales.api.views import REFUSALS, ApiActView, ViewPermission
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.services import private_labels
from inventory.bottling.models import Brand, PackagingPart, Product, Size, Variety
from inventory.bottling.queries import products as queries
from inventory.bottling.services import gift_boxes, goods, products
from inventory.bottling.services.gift_boxes import BoxLine
from inventory.bottling.services.products import PartUse
from inventory.shared.checks import GRAMS_MAX

MANAGE_PARTS = "inventory.manage_parts"
# A gift box or a product never has more different things in it.
ROWS_MAX = 30


class VarietySerializer(RowSerializer):
    class Meta:
        model = Variety
        fields = ["id", "name", "floral_source", "is_active"]


class BrandSerializer(RowSerializer):
    class Meta:
        model = Brand
        fields = ["id", "name", "is_active"]


class PartUseSerializer(serializers.Serializer):
    """So many of a part for so many filled pieces: one label for 1, one case for 12."""

    part = CodeField(queryset=PackagingPart.objects.all())
    quantity = PiecesCountField(required=False, default=1)
    per_pieces = PiecesCountField(required=False, default=1)

    def validate(self, attrs):
        return PartUse(**attrs)


class HoneyProductSerializer(serializers.Serializer):
    """A honey in a size; `variety` and `brand` are names that are there, `new_…` are added."""

    size = CodeField(queryset=Size.objects.all())
    variety = CodeField("name", queryset=Variety.objects.all(), required=False, allow_null=True)
    new_variety = StrictCharField(required=False, allow_blank=True, max_length=60)
    new_floral_source = StrictCharField(required=False, allow_blank=True, max_length=120)
    form = serializers.ChoiceField(Product.Form.choices, required=False)
    brand = CodeField("name", queryset=Brand.objects.all(), required=False, allow_null=True)
    new_brand = StrictCharField(required=False, allow_blank=True, max_length=60)
    name = StrictCharField(required=False, allow_blank=True, max_length=100)
    gtin = StrictCharField(required=False, allow_blank=True, max_length=20)
    low_stock_pieces = PiecesCountField(required=False, min_value=0)
    is_weighed = serializers.BooleanField(required=False)
    parts = rows_of(PartUseSerializer, required=False, max_length=ROWS_MAX)


class GoodsProductSerializer(serializers.Serializer):
    """Other goods; `low_stock` is in pieces, or in grams for goods by weight."""

    name = StrictCharField(max_length=100)
    is_weighed = serializers.BooleanField(required=False)
    gtin = StrictCharField(required=False, allow_blank=True, max_length=20)
    low_stock = StrictIntegerField(required=False, min_value=0, max_value=GRAMS_MAX)


class BoxLineSerializer(serializers.Serializer):
    product = CodeField(queryset=Product.objects.for_sale())
    pieces = PiecesCountField(required=False, default=1, source="quantity")

    def validate(self, attrs):
        return BoxLine(**attrs)


class GiftBoxSerializer(serializers.Serializer):
    """A gift box: what is in one, and its own packaging."""

    name = StrictCharField(max_length=100)
    contents = rows_of(BoxLineSerializer, allow_empty=False, max_length=ROWS_MAX)
    parts = rows_of(PartUseSerializer, required=False, max_length=ROWS_MAX)
    gtin = StrictCharField(required=False, allow_blank=True, max_length=20)
    low_stock_pieces = PiecesCountField(required=False, min_value=0)


class VarietyToSaveSerializer(serializers.Serializer):
    """A variety of honey by its name."""

    name = StrictCharField(max_length=60)
    floral_source = StrictCharField(required=False, allow_blank=True, max_length=120)
    is_active = serializers.BooleanField(required=False)


class BrandToSaveSerializer(serializers.Serializer):
    """A brand that honey is sold under."""

    name = StrictCharField(max_length=60)
    is_active = serializers.BooleanField(required=False)


class BrandCustomerSerializer(serializers.Serializer):
    """The key of the only customer that the brand is sold to; null for everybody."""

    customer = IdField(queryset=Customer.objects.all(), allow_null=True)


class PrivateLabelSerializer(AnswerSerializer):
    """A brand, and the only customer it is sold to; null for everybody."""

    brand = serializers.CharField(source="brand.name")
    customer = serializers.CharField(source="customer.name", default=None)


class VarietiesApiView(ListApiView):
    """The varieties of honey, those in use first."""

    filterset_class = filters.VarietyListFilters
    ordering_fields = ordered_by("id", "name")
    permission_classes = [ViewPermission]
    serializer_class = VarietySerializer
    queryset = Variety.objects.none()

    def get_queryset(self):
        return queries.varieties()


class VarietyApiView(RetrieveApiView):
    """One variety of honey."""

    queryset = Variety.objects.all()
    serializer_class = VarietySerializer


class BrandApiView(RetrieveApiView):
    """One brand that honey is sold under."""

    queryset = Brand.objects.all()
    serializer_class = BrandSerializer


class BrandsApiView(ListApiView):
    """The brands that honey is sold under, those in use first."""

    filterset_class = filters.BrandListFilters
    ordering_fields = ordered_by("id", "name")
    permission_classes = [ViewPermission]
    serializer_class = BrandSerializer
    queryset = Brand.objects.none()

    def get_queryset(self):
        return queries.brands()


class HoneyProductsApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = HoneyProductSerializer

    @extend_schema(responses={201: ProductSerializer, **REFUSALS})
    def post(self, request):
        """Add a honey in a size. Sent twice, the second is refused, because it is there."""
        made = products.save_honey(**self.checked())
        return Response(ProductSerializer(made).data, status=status.HTTP_201_CREATED)


class GoodsProductsApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = GoodsProductSerializer

    @extend_schema(responses={201: ProductSerializer, **REFUSALS})
    def post(self, request):
        """Add other goods. Sent twice, the second is refused, because the name is taken."""
        made = goods.save(**self.checked())
        return Response(ProductSerializer(made).data, status=status.HTTP_201_CREATED)


class GiftBoxesApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = GiftBoxSerializer

    @extend_schema(responses={201: ProductSerializer, **REFUSALS})
    def post(self, request):
        """Add a gift box. Sent twice, the second is refused, because the name is taken."""
        made = gift_boxes.save(**self.checked())
        return Response(ProductSerializer(made).data, status=status.HTTP_201_CREATED)


class BrandCustomerApiView(ApiActView):
    permission_required = "pricing.manage_prices"
    serializer_class = BrandCustomerSerializer

    @extend_schema(responses={200: PrivateLabelSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Sell a brand to one customer alone, or to everybody; doing it twice changes nothing."""
        brand = get_object_or_404(Brand, pk=pk)
        label = private_labels.set_customer(brand=brand, **self.checked())
        customer = label.customer if label else None
        made = PrivateLabelSerializer({"brand": brand, "customer": customer})
        return Response(made.data)


class VarietiesAddApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = VarietyToSaveSerializer

    @extend_schema(responses={201: VarietySerializer, **REFUSALS})
    def post(self, request):
        """Add a variety. Sent twice, the second is refused, because the name is taken."""
        made = products.save_variety(**self.checked())
        return Response(VarietySerializer(made).data, status=status.HTTP_201_CREATED)


class VarietyChangeApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = VarietyToSaveSerializer

    @extend_schema(responses={200: VarietySerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Change a variety; what is left out takes its usual value."""
        variety = get_object_or_404(Variety, pk=pk)
        made = products.save_variety(variety=variety, **self.checked())
        return Response(VarietySerializer(made).data)


class BrandsAddApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = BrandToSaveSerializer

    @extend_schema(responses={201: BrandSerializer, **REFUSALS})
    def post(self, request):
        """Add a brand. Sent twice, the second is refused, because the name is taken."""
        made = products.save_brand(**self.checked())
        return Response(BrandSerializer(made).data, status=status.HTTP_201_CREATED)


class BrandChangeApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = BrandToSaveSerializer

    @extend_schema(responses={200: BrandSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Change a brand; what is left out takes its usual value."""
        brand = get_object_or_404(Brand, pk=pk)
        return Response(BrandSerializer(products.save_brand(brand=brand, **self.checked())).data)


class ProductOutOfUseApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: ProductSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Offer a product no longer; what is packed of it stays in the books."""
        product = get_object_or_404(Product, code=code)
        return Response(ProductSerializer(products.take_out_of_use(product=product)).data)


class ProductInUseApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: ProductSerializer, **REFUSALS})
    def post(self, request, code: str):
        """Offer a product again."""
        product = get_object_or_404(Product, code=code)
        return Response(ProductSerializer(products.put_back_in_use(product=product)).data)

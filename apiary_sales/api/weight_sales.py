"""A sale by weight over the counter, through the API."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.serializers import (
    CENTS_MAX,
    CodeField,
    StandSaleMadeSerializer,
    StrictIntegerField,
)
from apiary_sales.api.sold_at import SoldAtField, as_happened
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing.models import Payment
from apiary_sales.billing.services import weight_sales
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.queries import weight_prices
from inventory.bottling.models import Product
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.errors import BadValue
from inventory.shared.people import person_of
from inventory.shared.weights import in_words
from inventory.stock.models import Balance, Lot, Place


class WeightSaleSerializer(serializers.Serializer):
    """Honey drawn from a vessel, or goods by weight; weighed full and empty, or the net weight."""

    place = CodeField(queryset=Place.objects.filter(kind__in=Place.STORES))
    vessel = CodeField(
        queryset=Place.objects.filter(kind__in=Place.VESSELS), required=False, allow_null=True
    )
    product = CodeField(
        queryset=Product.objects.sold_by_weight(),
        required=False,
        allow_null=True,
    )
    gross_grams = StrictIntegerField(
        min_value=1, max_value=GRAMS_MAX, required=False, allow_null=True
    )
    tare_grams = StrictIntegerField(
        min_value=0, max_value=GRAMS_MAX, required=False, allow_null=True
    )
    net_grams = StrictIntegerField(
        min_value=1, max_value=GRAMS_MAX, required=False, allow_null=True
    )
    method = serializers.ChoiceField(choices=Payment.WAYS)
    tendered_cents = StrictIntegerField(
        required=False, allow_null=True, min_value=0, max_value=CENTS_MAX, default=None
    )
    sold_at = SoldAtField()


class WeightSaleView(ApiActView):
    permission_required = "orders.sell_at_stand"
    serializer_class = WeightSaleSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        responses={201: StandSaleMadeSerializer, **REFUSALS},
    )
    def post(self, request):
        """Sell one thing by weight over the counter at the stand price of the day."""
        key = self.key()
        data = self.checked()
        sold_at = data.pop("sold_at", None)
        sale = weight_sales.sell(
            **data,
            **as_happened(sold_at, [data["method"]]),
            unit_price=_price(data, sold_at),
            sold_by=person_of(request),
            key=key,
        )
        return Response(StandSaleMadeSerializer(sale).data, status=status.HTTP_201_CREATED)


def _price(data: dict[str, Any], sold_at: datetime | None) -> Decimal:
    """Return the price on the stand's list of that day; raises `BadValue` without one.

    What was sold of a vessel that is empty by now has the price of any honey.
    """
    vessel, product = data.get("vessel"), data.get("product")
    prices = weight_prices.of_tier(Customer.Tier.STAND, timezone.localdate(sold_at))
    there = Balance.objects.in_vessel(vessel) if vessel else None
    if product is not None:
        price, name = prices.of_product(product), "product"
    elif vessel is None or (there is None and sold_at is None):
        # The sale itself says that a vessel is missing or empty.
        return Decimal(0)
    else:
        price, name = prices.of_honey(there.honey_lot if there else Lot()), "vessel"
    if price is None:
        raise BadValue(in_words(_("No stand price a {unit} is set for this.")), parameter=name)
    return price

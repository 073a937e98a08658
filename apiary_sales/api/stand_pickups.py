"""An order that its buyer fetches at a stand, through the API."""

import re
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.response import Response

from apiary_sales.api.fields import StoreCodeField, rows_of
from apiary_sales.api.serializers import (
    CENTS_MAX,
    PaymentMadeSerializer,
    StandSaleMadeSerializer,
    StrictIntegerField,
)
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing.services import stand_pickups
from apiary_sales.billing.services.stand import PIECES_MAX
from apiary_sales.billing.services.stand_money import PAYMENTS_MAX, PaymentMade
from apiary_sales.orders.models import Order
from apiary_sales.orders.rules.lines import LINES_MAX
from inventory.shared.errors import Problems
from inventory.shared.people import person_of


class FetchedLineSerializer(serializers.Serializer):
    line = StrictIntegerField(min_value=1, help_text="The id of the line of the order.")
    pieces = StrictIntegerField(min_value=0, max_value=PIECES_MAX)


class FetchedOrderSerializer(serializers.Serializer):
    """Pieces of an order handed over at a stand; without `lines`, all that are left.

    `payments` pay what is left after what was paid before. `is_brought` says that pieces which are
    reserved elsewhere were carried to the place. With `on_account` the rest is paid later, by the
    terms of the customer.
    """

    place = StoreCodeField()
    lines = rows_of(FetchedLineSerializer, required=False, max_length=LINES_MAX)
    payments = rows_of(PaymentMadeSerializer, required=False, max_length=PAYMENTS_MAX)
    is_brought = serializers.BooleanField(required=False, default=False)
    on_account = serializers.BooleanField(required=False, default=False)
    on_top_cents = StrictIntegerField(required=False, min_value=0, max_value=CENTS_MAX, default=0)
    expected_total_cents = StrictIntegerField(
        min_value=0, max_value=CENTS_MAX, required=False, allow_null=True
    )


class StandPickupApiView(ApiActView):
    permission_required = "orders.sell_at_stand"
    serializer_class = FetchedOrderSerializer
    # Where each line is in the body, by its key.
    positions: dict[int, int]

    def field_of(self, parameter: str | None) -> str | None:
        named = re.fullmatch(r"quantities\.(\d+)", parameter or "")
        if named is not None and int(named[1]) in self.positions:
            return f"lines.{self.positions[int(named[1])]}.pieces"
        if named is not None or parameter == "quantities":
            return "lines"
        return super().field_of(parameter)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: StandSaleMadeSerializer, **REFUSALS}
    )
    def post(self, request, number: str):
        """Hand an order over at a stand, with its invoice, and take what is left to pay."""
        self.positions = {}
        order = get_object_or_404(Order, number=number)
        key = self.key()
        data = self.checked()
        quantities = self._quantities(data.pop("lines", None))
        sale = stand_pickups.hand_over(
            order=order,
            quantities=quantities,
            payments=[PaymentMade(**each) for each in data.pop("payments", [])],
            handed_over_by=person_of(request),
            key=key,
            **data,
        )
        return Response(StandSaleMadeSerializer(sale).data, status=status.HTTP_201_CREATED)

    def _quantities(self, rows: list[dict[str, Any]] | None) -> dict[int, int] | None:
        if rows is None:
            return None
        problems = Problems()
        for index, row in enumerate(rows):
            if row["line"] in self.positions:
                problems.add(f"lines.{index}.line", _("That line is here twice. Remove one."))
            self.positions[row["line"]] = index
        problems.raise_any()
        return {row["line"]: row["pieces"] for row in rows}

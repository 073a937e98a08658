"""Many sales of another till at once, each for itself."""

import logging
from typing import Any

from django.db import InterfaceError, OperationalError
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import idempotency, views
from apiary_sales.api.fields import rows_of
from apiary_sales.api.idempotency import ActAnswer, KeyedAct
from apiary_sales.api.problem_contents import problem_content
from apiary_sales.api.problems import problem_details
from apiary_sales.api.serializers import (
    ProblemSerializer,
    StandSaleMadeSerializer,
    StandSaleSerializer,
    StrictCharField,
)
from inventory.shared import keys
from inventory.shared.people import person_of

logger = logging.getLogger(__name__)

SALES_MAX = 200


class BulkSaleSerializer(StandSaleSerializer):
    """A sale with the fields of a single sale, and its key."""

    key = StrictCharField(max_length=keys.LENGTH_MAX)


class BulkSalesSerializer(serializers.Serializer):
    """Up to 200 sales, each of which is booked or refused for itself."""

    sales = rows_of(BulkSaleSerializer, allow_empty=False, max_length=SALES_MAX)


class AnySalesSerializer(serializers.Serializer):
    """The same before anybody has looked at its sales: what is wrong with one is its own result."""

    sales = serializers.ListField(
        child=serializers.JSONField(), allow_empty=False, max_length=SALES_MAX
    )


class BulkResultSerializer(serializers.Serializer):
    """What became of one sale: as it would be answered if it were sent alone."""

    key = serializers.CharField(allow_null=True)
    status = serializers.IntegerField()
    sale = StandSaleMadeSerializer(allow_null=True)
    problem = ProblemSerializer(allow_null=True)


class BulkResultsSerializer(serializers.Serializer):
    results = BulkResultSerializer(many=True)


class StandSalesBulkView(views.ApiActView):
    permission_required = "orders.sell_at_stand"
    serializer_class = BulkSalesSerializer
    # Each sale is one, under its own key.
    is_one_transaction = False

    @extend_schema(responses={200: BulkResultsSerializer})
    def post(self, request: Request) -> Response:
        """Sell up to 200 times, with a result each in the order sent.

        A refused sale does not hold up the others. A key is the same whether its sale is sent here
        or alone, so all may be sent again: what is booked is answered as before.
        """
        body = AnySalesSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        results = [self._result(sale) for sale in body.validated_data["sales"]]
        return Response({"results": results})

    def _result(self, sent: Any) -> dict[str, Any]:
        key = sent.get("key") if isinstance(sent, dict) else None
        told = {"key": key if isinstance(key, str) else None, "sale": None, "problem": None}
        try:
            answer = self._sell(sent)
        except (OperationalError, InterfaceError):
            # The database is away: none of the others can be booked now.
            raise
        except Exception as error:
            problem = self._problem(error)
            return {**told, "status": problem["status"], "problem": problem}
        return {**told, "status": answer.status, "sale": answer.content()}

    def _sell(self, sent: Any) -> ActAnswer:
        body = BulkSaleSerializer(data=sent)
        body.is_valid(raise_exception=True)
        data, person = body.validated_data, person_of(self.request)
        key = idempotency.checked_key(data.pop("key"))

        def sell() -> ActAnswer:
            sale = views.sell_at_stand(
                data, sold_by=person, key=views.key_in_books(self.request, key)
            )
            made = StandSaleMadeSerializer(sale)
            return ActAnswer.of(Response(made.data, status=status.HTTP_201_CREATED), self)

        asked = KeyedAct.alone(self.request, key, "api:stand-sales", sent)
        return idempotency.once(asked, sell)

    def _problem(self, error: Exception) -> dict[str, Any]:
        response = problem_details(error, {"view": views.StandSaleView()})
        if response is None:
            logger.exception("One of many sales could not be booked.")
            return problem_content(
                status=status.HTTP_500_INTERNAL_SERVER_ERROR,
                code="server_error",
                detail=_("Something went wrong here with this sale, and was noted."),
            )
        return response.data

"""Goods handed over with the weights of their drums, their papers, and the drum register."""

import re
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.exceptions import NotFound
from rest_framework.response import Response

from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView
from apiary_sales.api.fields import GramsCountField, IdField, rows_of
from apiary_sales.api.papers import PDF, PaperApiView
from apiary_sales.api.serializers import CodeField, StrictCharField, StrictIntegerField
from apiary_sales.api.views import (
    IDEMPOTENCY_KEY,
    REFUSALS,
    ApiActView,
    BuyersPermission,
)
from apiary_sales.billing.models import Invoice, KeptDeposit, Payment
from apiary_sales.billing.queries import drum_register as register
from apiary_sales.billing.services import drum_deposits
from apiary_sales.customers.models import Customer
from apiary_sales.orders import delivery_papers
from apiary_sales.orders.models import (
    Delivery,
    DrumReturn,
    Fulfilment,
    FulfilmentLine,
    Order,
    ReturnedDrum,
)
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.lines import LINES_MAX
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.orders.services import deliveries, drum_register, weigh_out
from apiary_sales.orders.services.weigh_out import DrumOnScale, ScaleUsed
from inventory.shared import documents
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.errors import Problems
from inventory.shared.people import person_of
from inventory.stock.models import Place

# More drums than a truck takes; more is a slip.
DRUMS_MAX = 200
# Where the weights of a line are in the body, by what services call them.
WEIGHTS = {"gross_grams", "tare_grams", "net_grams", "seal"}


class LineHandedOverSerializer(serializers.Serializer):
    """One line of the order, by its `id`: how much of it, or what a scale said of it.

    A drum leaves whole; its weights and its seal may be given. Honey and goods by weight need a
    net weight, or gross and tare. Without a figure, all that is left is handed over.
    """

    line = StrictIntegerField(min_value=1)
    quantity = StrictIntegerField(min_value=0, max_value=GRAMS_MAX, required=False)
    gross_grams = GramsCountField(required=False, allow_null=True)
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)
    net_grams = GramsCountField(required=False, allow_null=True)
    seal = StrictCharField(required=False, allow_blank=True, max_length=40)


class HandOverSerializer(serializers.Serializer):
    """Goods handed over; without `lines`, all that is left of the order.

    `load_net_grams` is one net weight of all drums that leave, from a vehicle scale.
    """

    lines = rows_of(LineHandedOverSerializer, required=False, max_length=LINES_MAX)
    filled_on = serializers.DateField(required=False, allow_null=True)
    load_net_grams = GramsCountField(required=False, allow_null=True)
    scale = StrictCharField(required=False, allow_blank=True, max_length=60)
    weighed_by = StrictCharField(required=False, allow_blank=True, max_length=80)
    difference_is_right = serializers.BooleanField(required=False)


class FulfilmentLineSerializer(RowSerializer):
    line = serializers.IntegerField(source="order_line_id")
    description = serializers.CharField(source="order_line.description")
    lot = serializers.CharField(source="lot.code", default=None)
    gross_grams = serializers.IntegerField(source="shipped_drum.gross_grams", default=None)
    tare_grams = serializers.IntegerField(source="shipped_drum.tare_grams", default=None)
    seal = serializers.CharField(source="shipped_drum.seal", default=None)

    class Meta:
        model = FulfilmentLine
        fields = [
            "id",
            "line",
            "description",
            "lot",
            "quantity",
            "amount_cents",
            "gross_grams",
            "tare_grams",
            "seal",
        ]


class FulfilmentSerializer(RowSerializer):
    order = serializers.CharField(source="order.number")
    customer_reference = serializers.CharField(source="order.customer_reference")
    scale = serializers.CharField(source="weigh_out.scale", default=None)
    weighed_by = serializers.CharField(source="weigh_out.weighed_by", default=None)
    load_net_grams = serializers.IntegerField(source="weigh_out.load_net_grams", default=None)
    lines = FulfilmentLineSerializer(many=True)

    class Meta:
        model = Fulfilment
        fields = [
            "id",
            "order",
            "customer_reference",
            "filled_on",
            "scale",
            "weighed_by",
            "load_net_grams",
            "lines",
        ]


class HandOverApiView(ApiActView):
    permission_required = "orders.fulfil_orders"
    serializer_class = HandOverSerializer
    # Where each line is in the body, by its key.
    positions: dict[int, int]

    def field_of(self, parameter: str | None) -> str | None:
        named = re.fullmatch(r"(quantities|weighed|drums)\.(\d+)(?:\.(\w+))?", parameter or "")
        if named is None:
            is_lines = parameter in ("quantities", "weighed", "drums")
            return "lines" if is_lines else super().field_of(parameter)
        index = self.positions.get(int(named[2]))
        if index is None:
            return "lines"
        name = named[3] if named[3] in WEIGHTS else "quantity"
        return f"lines.{index}.{'line' if named[1] != 'quantities' and not named[3] else name}"

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: FulfilmentSerializer, **REFUSALS})
    def post(self, request, number: str):
        """Hand over goods of an order, drums at the weight that a scale says."""
        self.positions = {}
        order = get_object_or_404(Order, number=number)
        key = self.key()
        data = self.checked()
        made = weigh_out.hand_over(
            order=order,
            filled_by=person_of(request),
            key=key,
            filled_on=data.get("filled_on"),
            scale=ScaleUsed(
                name=data.get("scale", ""),
                weighed_by=data.get("weighed_by", ""),
                load_net_grams=data.get("load_net_grams"),
            ),
            difference_is_right=data.get("difference_is_right", False),
            **self._lines(order, data.get("lines")),
        )
        made = delivery_papers.found().get(pk=made.pk)
        return Response(FulfilmentSerializer(made).data, status=status.HTTP_201_CREATED)

    def _lines(self, order: Order, rows: list[dict[str, Any]] | None) -> dict[str, Any]:
        """Return what the service takes for the rows of the body."""
        if rows is None:
            return {}
        known = {line.pk: line for line in order.lines.select_related("drum")}
        quantities: dict[int, int] = {}
        weighed: dict[int, Weighed] = {}
        drums: dict[int, DrumOnScale] = {}
        problems = Problems()
        for index, row in enumerate(rows):
            key = row["line"]
            if key in self.positions:
                problems.add(f"lines.{index}.line", _("That line is here twice. Remove one."))
            self.positions[key] = index
            line = known.get(key)
            left = line.to_fill if line else 1
            quantities[key] = row.get("quantity", left)
            weights = {name: row[name] for name in WEIGHTS if row.get(name) is not None}
            if not weights or line is None:
                continue
            if rules.is_whole_drum(line):
                drums[key] = DrumOnScale(**weights)
            elif rules.is_weighed_out(line):
                del quantities[key]
                self._weigh(problems, index, key, weights, weighed)
            else:
                problems.add(f"lines.{index}.line", _("That line is not sold by weight."))
        problems.raise_any()
        return {"quantities": quantities, "weighed": weighed, "drums": drums}

    def _weigh(
        self,
        problems: Problems,
        index: int,
        key: int,
        weights: dict[str, Any],
        weighed: dict[int, Weighed],
    ) -> None:
        gross, tare, net = (weights.get(f"{name}_grams") for name in ("gross", "tare", "net"))
        if net is not None and gross is None and tare is None:
            weighed[key] = Weighed(net)
        elif net is None and gross is not None and tare is not None:
            weighed[key] = Weighed(gross - tare, gross_grams=gross, tare_grams=tare)
        else:
            problems.add(
                f"lines.{index}.net_grams", _("Send the net weight, or gross and tare together.")
            )


class DeliverySerializer(RowSerializer):
    """Who carries goods that were handed over, and where to; what is left out stays."""

    carrier = StrictCharField(required=False, allow_blank=True, max_length=80)
    vehicle = StrictCharField(required=False, allow_blank=True, max_length=60)
    ship_to = StrictCharField(required=False, allow_blank=True, max_length=400)
    instructions = StrictCharField(required=False, allow_blank=True, max_length=300)
    packages = StrictIntegerField(required=False, allow_null=True, min_value=1, max_value=100_000)

    class Meta:
        model = Delivery
        fields = ["id", "carrier", "vehicle", "ship_to", "freight", "packages", "instructions"]


class DeliveryApiView(ApiActView):
    permission_required = "orders.fulfil_orders"
    serializer_class = DeliverySerializer

    @extend_schema(responses={200: DeliverySerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Say who carries goods that were handed over, and where to."""
        fulfilment = get_object_or_404(Fulfilment.objects.select_related("order"), pk=pk)
        made = deliveries.describe(fulfilment=fulfilment, **self.checked())
        return Response(DeliverySerializer(made).data)


class DeliveryPaperApiView(PaperApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="delivery_paper", responses=PDF)
    def get(self, request, pk: int, paper: str):
        """A paper of a delivery: `delivery-note`, `bill-of-lading` or `packing-slip`."""
        if paper not in delivery_papers.TEMPLATES:
            raise NotFound
        fulfilment = get_object_or_404(delivery_papers.found(), pk=pk)
        content = delivery_papers.pdf(paper, fulfilment)
        return documents.pdf_response(f"{paper}-{fulfilment.order.number}-{pk}.pdf", content)


class OutingSerializer(AnswerSerializer):
    """A drum that is out, or was given up for lost."""

    drum = serializers.CharField(source="drum.code")
    customer = serializers.CharField(source="customer.name")
    went_on = serializers.DateField()
    days_out = serializers.IntegerField()
    is_sold = serializers.BooleanField()
    is_lost = serializers.SerializerMethodField()
    deposit_cents = serializers.IntegerField()
    order = serializers.CharField(source="line.fulfilment.order.number")
    invoice = serializers.SerializerMethodField()

    invoice_id = serializers.IntegerField(source="invoice.pk", default=None)

    def get_is_lost(self, outing: register.Outing) -> bool:
        return outing.lost is not None

    def get_invoice(self, outing: register.Outing) -> str | None:
        return str(outing.invoice) if outing.invoice else None


class DrumsOutApiView(ApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="drums_out", responses=OutingSerializer(many=True))
    def get(self, request):
        """Who holds which drum since when, and the drums given up for lost.

        It is worked out for all drums of the house at once, so that there are no pages.
        """
        outings = [*register.still_out(), *register.lost()]
        return Response(OutingSerializer(outings, many=True).data)


class DrumEventSerializer(serializers.Serializer):
    day = serializers.DateField()
    what = serializers.CharField()
    order = serializers.CharField()


class DrumHistoryApiView(ApiView):
    permission_classes = [BuyersPermission]

    @extend_schema(operation_id="drum_history", responses=DrumEventSerializer(many=True))
    def get(self, request, code: str):
        """When a drum was filled, to whom it went and how it came back, newest first.

        The whole life of one drum is short, so that there are no pages.
        """
        drum = get_object_or_404(Place, code=code, kind=Place.Kind.DRUM)
        return Response(DrumEventSerializer(register.history(drum), many=True).data)


class DrumBackSerializer(serializers.Serializer):
    drum = CodeField(queryset=Place.objects.filter(kind=Place.Kind.DRUM))
    tare_grams = GramsCountField(required=False, allow_null=True, min_value=0)


class DrumReturnSerializer(serializers.Serializer):
    """Drums that came back, `empty` or `damaged`, and what some weigh empty now."""

    drums = rows_of(DrumBackSerializer, allow_empty=False, max_length=DRUMS_MAX)
    outcome = serializers.ChoiceField(
        choices=[DrumReturn.Outcome.EMPTY, DrumReturn.Outcome.DAMAGED], required=False
    )
    returned_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(required=False, allow_blank=True, max_length=300)


class KeptDepositSerializer(RowSerializer):
    invoice = serializers.CharField(source="invoice_line.invoice.__str__")

    class Meta:
        model = KeptDeposit
        fields = ["id", "invoice", "amount_cents", "kept_on", "reason", "undone_on"]


class ReturnedDrumSerializer(RowSerializer):
    """A drum that came back or is lost, and its deposit where that is kept."""

    drum = serializers.CharField(source="fulfilment_line.order_line.drum.code")
    kept_deposit = serializers.SerializerMethodField()

    class Meta:
        model = ReturnedDrum
        fields = ["id", "drum", "tare_grams", "kept_deposit"]

    @extend_schema_field(KeptDepositSerializer(allow_null=True))
    def get_kept_deposit(self, returned: ReturnedDrum) -> dict[str, Any] | None:
        kept = KeptDeposit.objects.standing().filter(
            returned_drum__fulfilment_line=returned.fulfilment_line_id
        )
        found = kept.select_related("invoice_line__invoice").first()
        return KeptDepositSerializer(found).data if found else None


class DrumReturnMadeSerializer(RowSerializer):
    drums = ReturnedDrumSerializer(many=True)

    class Meta:
        model = DrumReturn
        fields = ["id", "outcome", "returned_on", "note", "drums"]


def _outings(drums: list[Place]) -> list[FulfilmentLine]:
    """Return the lines with which drums went out; raises `BadValue` for one that is not out."""
    rows = FulfilmentLine.objects.not_back().filter(order_line__drum__in=drums)
    out = {
        row.order_line.drum_id: row
        for row in rows.select_related("order_line__drum", "fulfilment__order")
    }
    problems = Problems()
    for index, drum in enumerate(drums):
        if drum.pk not in out:
            problems.add(f"drums.{index}.drum", _("%(drum)s is not out.") % {"drum": drum.name})
    problems.raise_any()
    return [out[drum.pk] for drum in drums]


class DrumReturnsApiView(ApiActView):
    permission_required = "orders.fulfil_orders"
    serializer_class = DrumReturnSerializer
    # Where each drum is in the body, by the key of its line.
    positions: dict[int, int]

    def field_of(self, parameter: str | None) -> str | None:
        if parameter and parameter.startswith("tares."):
            index = self.positions.get(int(parameter.removeprefix("tares.")))
            return "drums" if index is None else f"drums.{index}.tare_grams"
        return super().field_of("drums" if parameter in ("outings", "tares") else parameter)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: DrumReturnMadeSerializer, **REFUSALS}
    )
    def post(self, request):
        """Record drums that came back, whichever orders they went with."""
        self.positions = {}
        key = self.key()
        data = self.checked()
        rows = data.pop("drums")
        outings = _outings([row["drum"] for row in rows])
        self.positions = {line.pk: index for index, line in enumerate(outings)}
        tares = {
            line.pk: row["tare_grams"]
            for line, row in zip(outings, rows, strict=True)
            if row.get("tare_grams") is not None
        }
        made = drum_register.take_back(
            **data, outings=outings, tares=tares, received_by=person_of(request), key=key
        )
        return Response(DrumReturnMadeSerializer(made).data, status=status.HTTP_201_CREATED)


class DrumLostSerializer(serializers.Serializer):
    """Drums given up for lost; their deposits are kept."""

    drums = rows_of(DrumBackSerializer, allow_empty=False, max_length=DRUMS_MAX)
    lost_on = serializers.DateField(required=False, allow_null=True)
    note = StrictCharField(max_length=300)


class DrumsLostApiView(ApiActView):
    permission_required = ("orders.fulfil_orders", "billing.issue_invoices")
    serializer_class = DrumLostSerializer

    def field_of(self, parameter: str | None) -> str | None:
        names = {"returned_on": "lost_on", "outings": "drums"}
        return super().field_of(names.get(parameter or "", parameter))

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: DrumReturnMadeSerializer, **REFUSALS}
    )
    def post(self, request):
        """Give drums up for lost and keep their deposits as income."""
        key = self.key()
        data = self.checked()
        outings = _outings([row["drum"] for row in data.pop("drums")])
        made = drum_deposits.report_lost(
            **data, outings=outings, reported_by=person_of(request), key=key
        )
        return Response(DrumReturnMadeSerializer(made).data, status=status.HTTP_201_CREATED)


class KeepDepositSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)
    kept_on = serializers.DateField(required=False, allow_null=True)


class KeepDepositApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = KeepDepositSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: KeptDepositSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Keep the deposit of a drum that came back damaged."""
        returned = get_object_or_404(
            ReturnedDrum.objects.select_related(
                "drum_return", "fulfilment_line__fulfilment__order"
            ),
            pk=pk,
        )
        key = self.key()
        made = drum_deposits.keep(
            **self.checked(), returned_drum=returned, kept_by=person_of(request), key=key
        )
        return Response(KeptDepositSerializer(made).data, status=status.HTTP_201_CREATED)


class GiveUpKeepingSerializer(serializers.Serializer):
    reason = StrictCharField(max_length=300)


class GiveUpKeepingApiView(ApiActView):
    permission_required = "billing.issue_invoices"
    serializer_class = GiveUpKeepingSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: KeptDepositSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Owe the kept deposit of a drum that came back to its customer again."""
        kept = get_object_or_404(
            KeptDeposit.objects.select_related("returned_drum__fulfilment_line__fulfilment__order"),
            pk=pk,
        )
        self.key()
        made = drum_deposits.give_up_keeping(
            **self.checked(), kept=kept, undone_by=person_of(request)
        )
        return Response(KeptDepositSerializer(made).data, status=status.HTTP_201_CREATED)


class DepositOfInvoiceSerializer(serializers.Serializer):
    invoice = IdField(queryset=Invoice.objects.all())
    drums = StrictIntegerField(min_value=1, max_value=DRUMS_MAX)


class DepositRefundSerializer(serializers.Serializer):
    """Deposits given back; `pays_back` hands out at once what of them was paid."""

    invoices = rows_of(DepositOfInvoiceSerializer, allow_empty=False, max_length=DRUMS_MAX)
    pays_back = serializers.BooleanField(required=False)
    method = serializers.ChoiceField(choices=Payment.Method.choices, required=False)
    reference = StrictCharField(required=False, allow_blank=True, max_length=60)


class RefundMadeSerializer(serializers.Serializer):
    credit_notes = serializers.ListField(child=serializers.CharField(), source="notes")
    total_cents = serializers.IntegerField()
    paid_back_cents = serializers.SerializerMethodField()

    def get_paid_back_cents(self, refund: drum_deposits.Refund) -> int:
        return -refund.payment.amount_cents if refund.payment else 0


class DepositRefundsApiView(ApiActView):
    permission_required = ("billing.issue_invoices", "billing.take_payments")
    serializer_class = DepositRefundSerializer

    def field_of(self, parameter: str | None) -> str | None:
        return "invoices" if parameter == "drums" else super().field_of(parameter)

    @extend_schema(responses=DepositOfInvoiceSerializer(many=True))
    def get(self, request, pk: int):
        """The invoices with drums that are back and whose deposit is not given back yet.

        They are worked out for one customer, in one answer.
        """
        customer = get_object_or_404(Customer, pk=pk)
        rows = [
            {"invoice": row.invoice.pk, "drums": row.drums} for row in register.to_refund(customer)
        ]
        return Response(rows)

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: RefundMadeSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Credit the deposits of drums that came back, and give back what was paid."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        data = self.checked()
        drums = {row["invoice"]: row["drums"] for row in data.pop("invoices")}
        made = drum_deposits.refund(
            **data, customer=customer, drums=drums, refunded_by=person_of(request), key=key
        )
        return Response(RefundMadeSerializer(made).data, status=status.HTTP_201_CREATED)

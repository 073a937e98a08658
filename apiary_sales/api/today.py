"""The first page through the API: the house at a glance, and what needs a person."""

from typing import Any

from django.db.models.expressions import Combinable
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import roles
from apiary_sales.api.bottling import RunSerializer, note_runs
from apiary_sales.api.bottling_days import BottlingDaySerializer
from apiary_sales.api.cleaning import CleaningStandingSerializer
from apiary_sales.api.honey_in_hand import HoneyTotalSerializer, MoistureWarningSerializer
from apiary_sales.api.money_owed import ReceivablesSerializer
from apiary_sales.api.packing_stock import ToSettleSerializer
from apiary_sales.api.readings import DecimalFigureField, ReadingApiView, asked_of
from apiary_sales.api.serializers import unit_of
from apiary_sales.api.shortages import ShortageSerializer
from apiary_sales.api.stand_records import PickupSerializer, SaleMarkSerializer
from apiary_sales.api.stock_for_sale import CertificateStateSerializer, OrderListedSerializer
from apiary_sales.billing.queries import house_today, stand_today
from apiary_sales.finding import queries as finding
from apiary_sales.finding.rules import TYPED_MAX
from apiary_sales.keeping.queries import backup_state
from apiary_sales.orders.late_costs import that_may_be_known
from inventory.shared import findable
from inventory.shared.asked_together import how_many
from inventory.shared.people import person_of
from inventory.shared.row_keys import KEY_MAX
from inventory.stock import own_places
from inventory.stock.queries import cleaning

RECORD_CLEANING = "inventory.record_cleaning"
KEEP_HOUSE = "keeping.keep_house"
MANAGE_PRICES = "pricing.manage_prices"


class JarsOfSizeSerializer(serializers.Serializer):
    """A size with its free pieces; `fraction` is how full its shelf is."""

    size = serializers.CharField(source="label")
    size_id = serializers.IntegerField()
    pieces = serializers.IntegerField()
    fraction = DecimalFigureField(4)
    state = serializers.ChoiceField(["", "low", "out"])


class HeldGoodsSerializer(serializers.Serializer):
    """So much of a lot on hold at one place, in `unit`."""

    lot = serializers.CharField()
    lot_id = serializers.IntegerField()
    product = serializers.CharField(source="what")
    product_id = serializers.IntegerField(allow_null=True)
    item = serializers.CharField(source="item.name")
    item_id = serializers.IntegerField(source="item.pk")
    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    quantity = serializers.IntegerField()
    unit = serializers.SerializerMethodField()
    reason = serializers.CharField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.item)


class CleaningToDoSerializer(serializers.Serializer):
    due = CleaningStandingSerializer(many=True)
    before_use = CleaningStandingSerializer(many=True)


class OfficeWaitingSerializer(serializers.Serializer):
    """Of the stand: marked sales, sales given to the office, and returns to decide."""

    sales = serializers.IntegerField()
    handed_in = serializers.IntegerField()
    returns = serializers.IntegerField()


class PricesToComeSerializer(serializers.Serializer):
    first = serializers.DateField()
    count = serializers.IntegerField()


class ShortBySeasonSerializer(serializers.Serializer):
    """A size that does not last four weeks if they sell like last year's."""

    size = serializers.CharField(source="size.code")
    size_id = serializers.IntegerField(source="size.pk")
    free = serializers.IntegerField(source="stock.free")
    days_of_cover = serializers.IntegerField(allow_null=True)
    days_by_season = serializers.IntegerField(source="season_days", allow_null=True)


class BackupWarningSerializer(serializers.Serializer):
    """How the backups are; `warns` where something of them needs the owner."""

    warns = serializers.BooleanField()
    is_late = serializers.BooleanField()
    last_good_at = serializers.DateTimeField(source="last_good.made_at", default=None)


class AttentionSerializer(serializers.Serializer):
    """What needs a person; what you have no business with is empty, or null."""

    backups = BackupWarningSerializer(allow_null=True)
    held_goods = HeldGoodsSerializer(many=True)
    orders_missing_goods = OrderListedSerializer(source="missing", many=True)
    stand = OfficeWaitingSerializer()
    open_sheets = BottlingDaySerializer(many=True)
    runs_to_settle = ToSettleSerializer(many=True)
    shortages = ShortageSerializer(many=True)
    shortages_of_unknown_lots = serializers.IntegerField()
    moisture_warnings = MoistureWarningSerializer(many=True)
    short_by_season = ShortBySeasonSerializer(many=True)
    cleaning = CleaningToDoSerializer(allow_null=True)
    certificates_to_renew = CertificateStateSerializer(many=True)
    prices_to_come = PricesToComeSerializer(allow_null=True)
    late_costs = serializers.IntegerField(allow_null=True)


class HouseTodaySerializer(serializers.Serializer):
    """The house at a glance; a part is null where you have no business with it."""

    honey = HoneyTotalSerializer()
    honey_in_tanks = HoneyTotalSerializer()
    honey_in_drums = HoneyTotalSerializer()
    jars = JarsOfSizeSerializer(many=True)
    orders_to_fill = OrderListedSerializer(many=True, allow_null=True)
    orders_to_fill_count = serializers.IntegerField()
    owing = ReceivablesSerializer(allow_null=True)
    last_runs = RunSerializer(many=True)
    needs_a_person = AttentionSerializer()


class StandStockSerializer(serializers.Serializer):
    """One product at a place, in `unit`; `bring` would fill it up, as far as there is some."""

    product = serializers.CharField(source="product.code")
    product_id = serializers.IntegerField(source="product.pk")
    unit = serializers.SerializerMethodField()
    free = serializers.IntegerField()
    not_for_sale = serializers.IntegerField()
    sold = serializers.IntegerField()
    wanted = serializers.IntegerField()
    bring = serializers.IntegerField()
    is_on_shelf = serializers.BooleanField()
    is_low = serializers.BooleanField()

    def get_unit(self, row: Any) -> str:
        return unit_of(row.product.item)


class SoldByPersonSerializer(serializers.Serializer):
    name = serializers.CharField()
    sales = serializers.IntegerField()
    cents = serializers.IntegerField()


class StandGlanceSerializer(serializers.Serializer):
    """A place with its sales of today and its stock."""

    place = serializers.CharField(source="place.code")
    place_id = serializers.IntegerField(source="place.pk")
    sales = serializers.IntegerField()
    cents = serializers.IntegerField()
    on_top_cents = serializers.IntegerField()
    methods = serializers.DictField(child=serializers.IntegerField())
    people = SoldByPersonSerializer(many=True)
    stock = StandStockSerializer(many=True)


class StandTodaySerializer(serializers.Serializer):
    """Today at the places where you sell."""

    places = StandGlanceSerializer(source="glances", many=True)
    pickups = PickupSerializer(many=True)
    marks = SaleMarkSerializer(source="marked", many=True)
    marks_count = serializers.IntegerField(source="marked_count")
    held_goods = HeldGoodsSerializer(many=True)
    shortages = ShortageSerializer(many=True)
    cleaning = CleaningToDoSerializer(allow_null=True)


class TodaySerializer(serializers.Serializer):
    """The first page: of the stand for those who work there alone, else of the house."""

    day = serializers.DateField()
    house = HouseTodaySerializer(allow_null=True)
    stand = StandTodaySerializer(allow_null=True)


class TodayApiView(ReadingApiView):
    @extend_schema(operation_id="today", responses=TodaySerializer)
    def get(self, request: Request) -> Response:
        """The house at a glance, and what needs a person."""
        person = person_of(request)
        is_of_stand = person.has_perm(roles.SELL) and not own_places.has_every(person)
        told: dict[str, Any] = {"day": timezone.localdate(), "house": None, "stand": None}
        if is_of_stand:
            told["stand"] = _stand(person)
        else:
            told["house"] = _house(person)
        return Response(TodaySerializer(told).data)


def _stand(person: Any) -> dict[str, Any]:
    to_do = cleaning.to_do() if person.has_perm(RECORD_CLEANING) else None
    return {**vars(stand_today.of(person)), "cleaning": to_do}


def _house(person: Any) -> dict[str, Any]:
    keeps_house, sets_prices = person.has_perm(KEEP_HOUSE), person.has_perm(MANAGE_PRICES)
    also: dict[str, Combinable] = {}
    if keeps_house:
        also["begun_at"] = backup_state.begun_asked()
    if sets_prices:
        also["late_costs"] = how_many(that_may_be_known())
    found = house_today.today(person, also=also)
    last_runs = [run for run, _made in found.runs]
    note_runs(last_runs)
    return {
        "honey": found.in_hand.total,
        "honey_in_tanks": found.in_hand.in_tanks,
        "honey_in_drums": found.in_hand.in_drums,
        "jars": found.jars,
        "orders_to_fill": found.to_fill,
        "orders_to_fill_count": found.to_fill_count,
        "owing": found.owing,
        "last_runs": last_runs,
        "needs_a_person": {
            "backups": (
                backup_state.of_house(begun_at=found.answers["begun_at"]) if keeps_house else None
            ),
            "held_goods": found.held_goods,
            "missing": found.missing,
            "stand": found.stand_waiting,
            "open_sheets": found.open_sheets,
            "runs_to_settle": found.to_settle,
            "shortages": found.shortages,
            "shortages_of_unknown_lots": found.unknown_lots,
            "moisture_warnings": found.in_hand.moisture_warnings,
            "short_by_season": found.short_by_season,
            "cleaning": found.cleaning,
            "certificates_to_renew": found.to_renew,
            "prices_to_come": found.prices_to_come,
            "late_costs": found.answers.get("late_costs"),
        },
    }


# ------------------------------------------------------------------ find anything


class FoundThingSerializer(serializers.Serializer):
    """One thing that was found; `page` is the address of its page."""

    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    title = serializers.CharField()
    line = serializers.CharField()
    page = serializers.CharField(source="url")
    day = serializers.DateField(allow_null=True)
    cents = serializers.IntegerField(allow_null=True)


class FoundKindSerializer(serializers.Serializer):
    """Things of one kind; with more of them, `before` asks for those that follow."""

    kind = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]
    results = FoundThingSerializer(many=True)
    before = serializers.IntegerField(allow_null=True)


class ThingsFoundSerializer(serializers.Serializer):
    """What has exactly this code, what comes to this amount, and the rest kind by kind."""

    exact = FoundThingSerializer(many=True)
    of_amount = FoundThingSerializer(many=True)
    kinds = FoundKindSerializer(source="groups", many=True)


class FindApiView(ReadingApiView):
    @extend_schema(
        operation_id="find",
        parameters=[
            OpenApiParameter("q", str, description="Codes, names, a telephone number, an amount."),
            OpenApiParameter("kind", str, description="Only things of this kind."),
            OpenApiParameter("before", int, description="With a kind: those that follow this key."),
        ],
        responses=ThingsFoundSerializer,
    )
    def get(self, request: Request) -> Response:
        """Find anything you may see."""
        kinds = [kind.name for kind in findable.kinds()]
        only = asked_of(request, "kind", serializers.ChoiceField(kinds)) or ""
        field = serializers.IntegerField(min_value=0, max_value=KEY_MAX)
        before = asked_of(request, "before", field)
        if before is not None and not only:
            raise ValidationError({"before": [_("This goes with a kind.")]})
        found = finding.find(
            request.query_params.get("q", "")[:TYPED_MAX],
            user=request.user,
            a_kind=finding.OF_ONE_KIND if only else finding.A_KIND,
            only=only,
            before=before,
        )
        return Response(ThingsFoundSerializer(found).data)

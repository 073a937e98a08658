"""Orders and what became of them in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.orders import models, trade_models
from inventory.shared.admin import DaysListFilter, ReadOnlyAdmin, ReadOnlyInline


class OrderLineInline(ReadOnlyInline):
    model = models.OrderLine
    fields = ["kind", "description", "quantity", "unit_price", "amount_cents", "filled"]


class OrderEventInline(ReadOnlyInline):
    model = models.OrderEvent
    fields = ["kind", "happened_at", "recorded_by", "note"]


@admin.register(models.Order)
class OrderAdmin(ReadOnlyAdmin):
    list_display = ["number", "status", "channel", "customer", "placed_on", "wanted_on"]
    list_filter = ["status", "channel", ("placed_on", DaysListFilter)]
    list_select_related = ["customer"]
    search_fields = ["number", "customer__name", "customer_reference"]
    inlines = [OrderLineInline, OrderEventInline]


class FulfilmentLineInline(ReadOnlyInline):
    model = models.FulfilmentLine
    fields = ["order_line", "lot", "quantity", "amount_cents", "cost_cents"]


@admin.register(models.Fulfilment)
class FulfilmentAdmin(ReadOnlyAdmin):
    list_display = ["order", "filled_on", "filled_by", "is_taken_back"]
    list_filter = ["is_taken_back", ("filled_on", DaysListFilter)]
    list_select_related = ["order", "filled_by"]
    inlines = [FulfilmentLineInline]


@admin.register(models.Reservation)
class ReservationAdmin(ReadOnlyAdmin):
    list_display = ["line", "balance", "quantity"]
    list_select_related = ["line", "balance__item", "balance__place"]


@admin.register(models.Recall)
class RecallAdmin(ReadOnlyAdmin):
    list_display = ["code", "kind", "reason", "started_at", "started_by", "finished_at"]
    list_filter = ["kind", ("started_at", DaysListFilter)]
    list_select_related = ["started_by"]
    search_fields = ["code", "reason"]
    exclude = ["answer"]


@admin.register(models.RecallAct)
class RecallActAdmin(ReadOnlyAdmin):
    list_display = ["kind", "reason", "done_at", "done_by"]
    list_filter = ["kind", ("done_at", DaysListFilter)]
    list_select_related = ["done_by"]


class ConsignmentPriceInline(ReadOnlyInline):
    model = trade_models.ConsignmentPrice
    fields = ["product", "unit_price", "valid_from"]


@admin.register(trade_models.ConsignmentShelf)
class ConsignmentShelfAdmin(ReadOnlyAdmin):
    list_display = ["place", "customer"]
    list_select_related = ["place", "customer"]
    inlines = [ConsignmentPriceInline]


class ConsignmentDeliveryLineInline(ReadOnlyInline):
    model = trade_models.ConsignmentDeliveryLine
    fields = ["product", "pieces"]


@admin.register(trade_models.ConsignmentDelivery)
class ConsignmentDeliveryAdmin(ReadOnlyAdmin):
    list_display = ["number", "shelf", "status", "planned_on", "delivered_on"]
    list_filter = ["status"]
    list_select_related = ["shelf__place"]
    inlines = [ConsignmentDeliveryLineInline]


class ContractPriceStepInline(ReadOnlyInline):
    model = trade_models.ContractPriceStep
    fields = ["from_grams", "unit_price"]


class ContractSampleInline(ReadOnlyInline):
    model = trade_models.ContractSample
    fields = ["lot", "approved_on", "approved_by", "note"]


class CallOffInline(ReadOnlyInline):
    model = trade_models.CallOff
    fields = ["order", "accepted"]


@admin.register(trade_models.Contract)
class ContractAdmin(ReadOnlyAdmin):
    list_display = ["number", "customer", "max_grams", "starts_on", "ends_on"]
    list_select_related = ["customer"]
    search_fields = ["number", "customer__name", "customer_reference"]
    inlines = [ContractPriceStepInline, ContractSampleInline, CallOffInline]


class StandingOrderLineInline(ReadOnlyInline):
    model = trade_models.StandingOrderLine
    fields = ["product", "pieces"]


class StandingOrderDayInline(ReadOnlyInline):
    model = trade_models.StandingOrderDay
    fields = ["due_on", "order", "decided_by"]


@admin.register(trade_models.StandingOrder)
class StandingOrderAdmin(ReadOnlyAdmin):
    list_display = ["customer", "rhythm", "starts_on", "ends_on", "is_paused"]
    list_filter = ["rhythm", "is_paused"]
    list_select_related = ["customer"]
    inlines = [StandingOrderLineInline, StandingOrderDayInline]


class RoundStopInline(ReadOnlyInline):
    model = trade_models.RoundStop
    fields = ["position", "order", "delivery", "delivered_at", "delivered_by"]


@admin.register(trade_models.DeliveryRound)
class DeliveryRoundAdmin(ReadOnlyAdmin):
    list_display = ["number", "day", "vehicle", "driver"]
    list_filter = [("day", DaysListFilter)]
    inlines = [RoundStopInline]

"""Orders and what became of them in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.orders import models
from inventory.shared.admin import ReadOnlyAdmin, ReadOnlyInline


class OrderLineInline(ReadOnlyInline):
    model = models.OrderLine
    fields = ["kind", "description", "quantity", "unit_price", "amount_cents", "filled"]


class OrderEventInline(ReadOnlyInline):
    model = models.OrderEvent
    fields = ["kind", "happened_at", "recorded_by", "note"]


@admin.register(models.Order)
class OrderAdmin(ReadOnlyAdmin):
    list_display = ["number", "status", "channel", "customer", "placed_on", "wanted_on"]
    list_filter = ["status", "channel"]
    list_select_related = ["customer"]
    search_fields = ["number", "customer__name", "customer_reference"]
    date_hierarchy = "placed_on"
    inlines = [OrderLineInline, OrderEventInline]


class FulfilmentLineInline(ReadOnlyInline):
    model = models.FulfilmentLine
    fields = ["order_line", "lot", "quantity", "amount_cents", "cost_cents"]


@admin.register(models.Fulfilment)
class FulfilmentAdmin(ReadOnlyAdmin):
    list_display = ["order", "filled_on", "filled_by", "is_taken_back"]
    list_filter = ["is_taken_back"]
    list_select_related = ["order", "filled_by"]
    date_hierarchy = "filled_on"
    inlines = [FulfilmentLineInline]


@admin.register(models.Reservation)
class ReservationAdmin(ReadOnlyAdmin):
    list_display = ["line", "balance", "quantity"]
    list_select_related = ["line", "balance__item", "balance__place"]


@admin.register(models.Recall)
class RecallAdmin(ReadOnlyAdmin):
    list_display = ["code", "kind", "reason", "started_at", "started_by", "finished_at"]
    list_filter = ["kind"]
    list_select_related = ["started_by"]
    search_fields = ["code", "reason"]
    date_hierarchy = "started_at"
    exclude = ["answer"]


@admin.register(models.RecallAct)
class RecallActAdmin(ReadOnlyAdmin):
    list_display = ["kind", "reason", "done_at", "done_by"]
    list_filter = ["kind"]
    list_select_related = ["done_by"]
    date_hierarchy = "done_at"

"""Honey and stock in the back office: to be looked at, never changed."""

from django.contrib import admin

from inventory.shared.admin import DaysListFilter, ReadOnlyAdmin, ReadOnlyInline
from inventory.stock import models


class PostingLineInline(ReadOnlyInline):
    model = models.PostingLine
    fields = ["item", "place", "lot", "quantity"]


@admin.register(models.Posting)
class PostingAdmin(ReadOnlyAdmin):
    list_display = ["id", "kind", "occurred_at", "recorded_by", "note"]
    list_filter = ["kind", ("occurred_at", DaysListFilter)]
    list_select_related = ["recorded_by"]
    inlines = [PostingLineInline]


@admin.register(models.Balance)
class BalanceAdmin(ReadOnlyAdmin):
    list_display = ["item", "place", "lot", "quantity", "reserved"]
    list_filter = ["item__kind", "place__kind"]
    list_select_related = ["item", "place", "lot"]


class CountLineInline(ReadOnlyInline):
    model = models.CountLine
    fields = ["place", "item", "lot", "how", "counted", "difference", "counted_at", "counted_by"]


@admin.register(models.CountSheet)
class CountSheetAdmin(ReadOnlyAdmin):
    list_display = ["number", "name", "opened_at", "closed_at", "as_of", "reason"]
    inlines = [CountLineInline]


class BlendPlanLineInline(ReadOnlyInline):
    model = models.BlendPlanLine
    fields = ["place", "lot", "grams", "poured_grams"]


@admin.register(models.BlendPlan)
class BlendPlanAdmin(ReadOnlyAdmin):
    list_display = ["number", "status", "target", "planned_at", "planned_by"]
    list_filter = ["status"]
    list_select_related = ["target", "planned_by"]
    inlines = [BlendPlanLineInline]


class LotParentInline(ReadOnlyInline):
    model = models.LotParent
    fk_name = "lot"
    fields = ["parent", "grams"]


@admin.register(models.LotHold)
class LotHoldAdmin(ReadOnlyAdmin):
    list_display = ["lot", "cause", "reason", "held_at", "held_by", "released_at", "released_by"]
    list_filter = ["cause"]
    list_select_related = ["lot", "held_by", "released_by"]


@admin.register(models.Lot)
class LotAdmin(ReadOnlyAdmin):
    list_display = ["code", "kind", "season", "floral_source", "made_on", "moisture_percent"]
    list_filter = ["kind", "season", "is_on_hold"]
    search_fields = ["code", "floral_source", "yard", "supplier_lot"]
    inlines = [LotParentInline]


@admin.register(models.Supplier)
class SupplierAdmin(ReadOnlyAdmin):
    list_display = ["name", "kind", "city", "country", "is_active"]
    list_filter = ["kind", "is_active"]
    search_fields = ["name", "contact", "city", "email"]


class TankShapeInline(ReadOnlyInline):
    model = models.TankShape


@admin.register(models.Place)
class PlaceAdmin(ReadOnlyAdmin):
    list_display = ["code", "name", "kind", "capacity_litres", "is_active"]
    list_filter = ["kind", "is_active"]
    search_fields = ["code", "name"]
    inlines = [TankShapeInline]


class CalibrationPointInline(ReadOnlyInline):
    model = models.CalibrationPoint


@admin.register(models.TankShape)
class TankShapeAdmin(ReadOnlyAdmin):
    list_display = ["place", "form", "diameter_mm", "length_mm", "end"]
    list_select_related = ["place"]
    inlines = [CalibrationPointInline]


@admin.register(models.DipReading)
class DipReadingAdmin(ReadOnlyAdmin):
    list_display = ["place", "read_at", "depth_mm", "celsius", "grams", "book_grams", "accepted"]
    list_select_related = ["place", "accepted"]


@admin.register(models.ProductionSettings)
class ProductionSettingsAdmin(ReadOnlyAdmin):
    list_display = ["labour_cents_per_hour", "cost_method", "honey_house_celsius"]

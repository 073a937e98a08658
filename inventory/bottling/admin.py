"""The bottling room in the back office: to be looked at, never changed."""

from django.contrib import admin

from inventory.bottling import models
from inventory.shared.admin import ReadOnlyAdmin, ReadOnlyInline


class SizePartInline(ReadOnlyInline):
    model = models.SizePart


@admin.register(models.Size)
class SizeAdmin(ReadOnlyAdmin):
    list_display = ["name", "declared_amount", "declared_unit", "brimful_ml", "is_active"]
    list_filter = ["is_active"]
    inlines = [SizePartInline]


class ProductPartInline(ReadOnlyInline):
    model = models.ProductPart


class BoxContentInline(ReadOnlyInline):
    model = models.BoxContent
    fk_name = "box"


@admin.register(models.Product)
class ProductAdmin(ReadOnlyAdmin):
    list_display = ["name", "kind", "size", "variety", "form", "brand", "is_active"]
    list_filter = ["kind", "is_active"]
    list_select_related = ["size", "variety", "brand"]
    inlines = [ProductPartInline, BoxContentInline]


@admin.register(models.Variety)
class VarietyAdmin(ReadOnlyAdmin):
    list_display = ["name", "floral_source", "is_active"]


@admin.register(models.Brand)
class BrandAdmin(ReadOnlyAdmin):
    list_display = ["name", "is_active"]


@admin.register(models.PackagingPart)
class PackagingPartAdmin(ReadOnlyAdmin):
    list_display = ["name", "kind", "reorder_point", "is_active"]
    list_filter = ["kind", "is_active"]


@admin.register(models.PartReceipt)
class PartReceiptAdmin(ReadOnlyAdmin):
    list_display = ["part", "pieces", "cost_cents", "supplier", "received_on"]
    list_select_related = ["part", "supplier"]


@admin.register(models.GoodsReceipt)
class GoodsReceiptAdmin(ReadOnlyAdmin):
    list_display = ["product", "lot", "quantity", "cost_cents", "supplier", "received_on"]
    list_select_related = ["product", "lot", "supplier"]


@admin.register(models.ReceiptCorrection)
class ReceiptCorrectionAdmin(ReadOnlyAdmin):
    list_display = ["__str__", "reason", "corrected_at", "corrected_by"]
    list_select_related = ["part_receipt__part", "goods_receipt__product", "corrected_by"]


@admin.register(models.GoodsMade)
class GoodsMadeAdmin(ReadOnlyAdmin):
    list_display = ["product", "lot", "quantity", "materials_cents", "labour_cents", "made_on"]
    list_select_related = ["product", "lot"]


@admin.register(models.BottlingRun)
class BottlingRunAdmin(ReadOnlyAdmin):
    list_display = ["number", "status", "product", "pieces_filled", "recorded_at"]
    list_filter = ["status"]
    list_select_related = ["product"]


@admin.register(models.RunDip)
class RunDipAdmin(ReadOnlyAdmin):
    list_display = ["run", "moment", "reading"]
    list_select_related = ["run", "reading__place"]


class FillWeightInline(ReadOnlyInline):
    model = models.FillWeight


@admin.register(models.FillCheck)
class FillCheckAdmin(ReadOnlyAdmin):
    list_display = ["run", "scheme", "checked_at", "has_passed"]
    list_select_related = ["run"]
    inlines = [FillWeightInline]


@admin.register(models.Creaming)
class CreamingAdmin(ReadOnlyAdmin):
    list_display = ["run", "seed_source", "seed_percent", "setting_days", "hastened_by"]
    list_select_related = ["run", "seed_source", "hastened_by"]


@admin.register(models.RunComb)
class RunCombAdmin(ReadOnlyAdmin):
    list_display = ["run", "lot", "place", "grams_each"]
    list_select_related = ["run", "lot", "place"]


@admin.register(models.CombCut)
class CombCutAdmin(ReadOnlyAdmin):
    list_display = ["packed_lot", "comb_lot", "comb_grams", "drained_grams", "loss_grams"]
    list_select_related = ["packed_lot", "comb_lot"]


@admin.register(models.JarPage)
class JarPageAdmin(ReadOnlyAdmin):
    list_display = ["is_on", "dates", "region"]

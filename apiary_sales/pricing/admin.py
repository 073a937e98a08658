"""Prices in the back office: to be looked at. They are set on their pages, which keep history."""

from django.contrib import admin

from apiary_sales.pricing.models import (
    BulkPrice,
    ChannelCost,
    FillingTime,
    GoodsCategory,
    PiecePrice,
    PrivateLabel,
    ProductTax,
    SeasonExpense,
    Service,
    TaxRate,
    WeightPrice,
)


class NeverChangedAdmin(admin.ModelAdmin):
    """A row that is written once: a later one takes over."""

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


@admin.register(PiecePrice)
class PiecePriceAdmin(NeverChangedAdmin):
    list_display = ["product", "tier", "min_pieces", "piece_cents", "case_cents", "valid_from"]
    list_filter = ["tier", "product"]
    list_select_related = ["product"]


@admin.register(PrivateLabel)
class PrivateLabelAdmin(admin.ModelAdmin):
    list_display = ["brand", "customer"]
    list_select_related = ["brand", "customer"]


@admin.register(BulkPrice)
class BulkPriceAdmin(NeverChangedAdmin):
    list_display = [
        "colour_class",
        "moisture_percent_max",
        "floral_source",
        "price_per_pound",
        "valid_from",
    ]
    list_filter = ["colour_class"]


@admin.register(TaxRate)
class TaxRateAdmin(NeverChangedAdmin):
    list_display = ["name", "goods", "percent", "valid_from"]
    list_filter = ["goods"]


@admin.register(GoodsCategory)
class GoodsCategoryAdmin(NeverChangedAdmin):
    list_display = ["goods", "category", "reason", "valid_from"]


@admin.register(ProductTax)
class ProductTaxAdmin(admin.ModelAdmin):
    list_display = ["product", "taxed_as"]
    list_select_related = ["product"]


@admin.register(ChannelCost)
class ChannelCostAdmin(admin.ModelAdmin):
    list_display = ["channel", "discount_percent", "card_percent", "piece_cents", "per_pound"]


@admin.register(FillingTime)
class FillingTimeAdmin(admin.ModelAdmin):
    list_display = ["product", "minutes_each"]
    list_select_related = ["product"]


@admin.register(SeasonExpense)
class SeasonExpenseAdmin(admin.ModelAdmin):
    list_display = ["season", "category", "amount_cents", "note"]
    list_filter = ["season", "category"]


@admin.register(WeightPrice)
class WeightPriceAdmin(NeverChangedAdmin):
    list_display = ["what", "tier", "price_per_pound", "valid_from"]
    list_filter = ["tier"]
    list_select_related = ["product", "variety"]


@admin.register(Service)
class ServiceAdmin(NeverChangedAdmin):
    list_display = ["name", "unit", "usual_price", "taxed_as", "is_active"]

"""Prices in the back office: to be looked at. Their own pages keep history."""

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
from inventory.shared.admin import ReadOnlyAdmin


@admin.register(PiecePrice)
class PiecePriceAdmin(ReadOnlyAdmin):
    list_display = ["product", "tier", "min_pieces", "piece_cents", "case_cents", "valid_from"]
    list_filter = ["tier", "product"]
    list_select_related = ["product"]


@admin.register(PrivateLabel)
class PrivateLabelAdmin(ReadOnlyAdmin):
    list_display = ["brand", "customer"]
    list_select_related = ["brand", "customer"]


@admin.register(BulkPrice)
class BulkPriceAdmin(ReadOnlyAdmin):
    list_display = [
        "colour_class",
        "moisture_percent_max",
        "floral_source",
        "price_per_pound",
        "valid_from",
    ]
    list_filter = ["colour_class"]


@admin.register(TaxRate)
class TaxRateAdmin(ReadOnlyAdmin):
    list_display = ["name", "goods", "percent", "valid_from"]
    list_filter = ["goods"]


@admin.register(GoodsCategory)
class GoodsCategoryAdmin(ReadOnlyAdmin):
    list_display = ["goods", "category", "reason", "valid_from"]


@admin.register(ProductTax)
class ProductTaxAdmin(ReadOnlyAdmin):
    list_display = ["product", "taxed_as"]
    list_select_related = ["product"]


@admin.register(ChannelCost)
class ChannelCostAdmin(ReadOnlyAdmin):
    list_display = ["channel", "discount_percent", "card_percent", "piece_cents", "per_pound"]


@admin.register(FillingTime)
class FillingTimeAdmin(ReadOnlyAdmin):
    list_display = ["product", "minutes_each"]
    list_select_related = ["product"]


@admin.register(SeasonExpense)
class SeasonExpenseAdmin(ReadOnlyAdmin):
    list_display = ["season", "category", "amount_cents", "note"]
    list_filter = ["season", "category"]


@admin.register(WeightPrice)
class WeightPriceAdmin(ReadOnlyAdmin):
    list_display = ["what", "tier", "price_per_pound", "valid_from"]
    list_filter = ["tier"]
    list_select_related = ["product", "variety"]


@admin.register(Service)
class ServiceAdmin(ReadOnlyAdmin):
    list_display = ["name", "unit", "usual_price", "taxed_as", "is_active"]

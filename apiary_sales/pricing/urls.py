from django.urls import path

from apiary_sales.pricing.views import (
    costs,
    drum_or_jar,
    prices,
    private_labels,
    services,
    taxes,
    weight_prices,
)

app_name = "pricing"

urlpatterns = [
    path("", prices.price_lists, name="prices"),
    path("products/<slug:code>/", prices.product_prices, name="product_prices"),
    path("products/<slug:code>/set/", prices.ProductPricesSetView.as_view(), name="price_set"),
    path("products/<slug:code>/many/", prices.BreakSetView.as_view(), name="break_set"),
    path("labels/", private_labels.private_label_list, name="private_labels"),
    path(
        "labels/<int:pk>/",
        private_labels.PrivateLabelSetView.as_view(),
        name="private_label_set",
    ),
    path("products/<slug:code>/tax/", taxes.ProductTaxSetView.as_view(), name="product_tax"),
    path("change/", prices.price_change, name="price_change"),
    path("drums/", prices.bulk_prices, name="bulk_prices"),
    path("drums/set/", prices.BulkPriceSetView.as_view(), name="bulk_price_set"),
    path("weight/", weight_prices.weight_price_list, name="weight_prices"),
    path("weight/set/", weight_prices.WeightPriceSetView.as_view(), name="weight_price_set"),
    path("services/", services.services, name="services"),
    path("services/add/", services.ServiceAddView.as_view(), name="service_add"),
    path("services/usual/", services.add_usual, name="services_usual"),
    path("services/<slug:code>/", services.ServiceChangeView.as_view(), name="service_change"),
    path("tax/", prices.tax_rates, name="tax_rates"),
    path("tax/goods/", taxes.GoodsCategorySetView.as_view(), name="tax_category_set"),
    path("tax/set/", prices.TaxRateSetView.as_view(), name="tax_rate_set"),
    path("drum-or-jar/", drum_or_jar.page, name="drum_or_jar"),
    path("drum-or-jar/<slug:code>/", drum_or_jar.product, name="product_margin"),
    path("costs/", costs.selling_costs, name="selling_costs"),
    path("costs/minutes/", costs.FillingTimesSetView.as_view(), name="filling_times"),
    path("costs/<slug:channel>/", costs.ChannelCostSetView.as_view(), name="channel_cost_set"),
    path("honey/", costs.honey_cost, name="honey_cost"),
    path("honey/expense/", costs.ExpenseAddView.as_view(), name="expense_add"),
    path("honey/expense/<int:pk>/remove/", costs.remove_expense, name="expense_remove"),
    path("honey/<int:year>/", costs.season, name="season"),
    path("honey/<int:year>/spread/", costs.spread, name="season_spread"),
    path("honey/lots/<str:code>/", costs.LotCostSetView.as_view(), name="lot_cost"),
]

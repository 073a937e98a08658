from django.urls import path

from apiary_sales.planning.views import PlanView, search_long
from apiary_sales.planning.views_earnings import EarningsView
from apiary_sales.planning.views_price import PriceTryView
from apiary_sales.planning.views_season import SeasonPlanView

app_name = "planning"

urlpatterns = [
    path("", PlanView.as_view(), name="plan"),
    path("earnings/", EarningsView.as_view(), name="earnings"),
    path("season/", SeasonPlanView.as_view(), name="season"),
    path("search/", search_long, name="plan_search"),
    path("prices/", PriceTryView.as_view(), name="price_try"),
]

from django.urls import path

from apiary_sales.planning.views import PlanView, search_long

app_name = "planning"

urlpatterns = [
    path("", PlanView.as_view(), name="plan"),
    path("search/", search_long, name="plan_search"),
]

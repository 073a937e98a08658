"""The blend planner (/honey/plan-a-blend/); the plans themselves are the inventory's."""

from django.urls import path

from apiary_sales.planning.views_blend import BlendPlannerView

app_name = "blending"

urlpatterns = [path("", BlendPlannerView.as_view(), name="planner")]

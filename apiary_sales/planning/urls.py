from django.urls import path

from apiary_sales.planning.views import PlanView

app_name = "planning"

urlpatterns = [path("", PlanView.as_view(), name="plan")]

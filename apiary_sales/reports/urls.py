from django.urls import path

from apiary_sales.reports import views
from apiary_sales.reports.planning.views import PlanView

app_name = "reports"

urlpatterns = [
    path("", views.index, name="reports"),
    path("plan/", PlanView.as_view(), name="plan"),
    path("<slug:slug>/", views.report, name="report"),
    path("<slug:slug>.csv", views.csv_file, name="report_csv"),
    path("<slug:slug>.xlsx", views.xlsx_file, name="report_xlsx"),
]

from django.urls import path

from apiary_sales.reports import views

app_name = "reports"

urlpatterns = [
    path("", views.index, name="reports"),
    path("<slug:slug>/", views.report, name="report"),
    path("<slug:slug>.csv", views.csv_file, name="report_csv"),
    path("<slug:slug>.xlsx", views.xlsx_file, name="report_xlsx"),
]

from django.urls import path, re_path

from apiary_sales.reports import views

app_name = "reports"

urlpatterns = [
    path("", views.index, name="reports"),
    path("<slug:slug>/", views.report, name="report"),
    re_path(
        r"^(?P<slug>[-\w]+)/long/(?P<ending>csv|xlsx)/$", views.long_file, name="report_long_file"
    ),
    path("<slug:slug>.csv", views.csv_file, name="report_csv"),
    path("<slug:slug>.xlsx", views.xlsx_file, name="report_xlsx"),
]

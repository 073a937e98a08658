from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "apiary_sales.reports"

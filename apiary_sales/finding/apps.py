from django.apps import AppConfig


class FindingConfig(AppConfig):
    name = "apiary_sales.finding"

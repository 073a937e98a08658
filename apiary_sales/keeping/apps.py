from django.apps import AppConfig


class KeepingConfig(AppConfig):
    name = "apiary_sales.keeping"

from django.apps import AppConfig


class ImportsConfig(AppConfig):
    name = "apiary_sales.imports"

from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "apiary_sales.api"

from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "apiary_sales.web"

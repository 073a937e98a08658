from django.apps import AppConfig


class PricingConfig(AppConfig):
    name = "apiary_sales.pricing"

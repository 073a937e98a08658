from django.apps import AppConfig


class BillingConfig(AppConfig):
    name = "apiary_sales.billing"

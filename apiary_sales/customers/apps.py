from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "apiary_sales.customers"

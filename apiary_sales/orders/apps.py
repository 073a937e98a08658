from django.apps import AppConfig


class OrdersConfig(AppConfig):
    name = "apiary_sales.orders"

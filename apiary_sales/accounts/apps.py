from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "apiary_sales.accounts"

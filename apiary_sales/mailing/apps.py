from django.apps import AppConfig


class MailingConfig(AppConfig):
    name = "apiary_sales.mailing"

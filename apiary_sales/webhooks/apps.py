from django.apps import AppConfig


class WebhooksConfig(AppConfig):
    name = "apiary_sales.webhooks"

    def ready(self) -> None:
        from apiary_sales.webhooks import doors

        doors.watch()

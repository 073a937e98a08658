from django.apps import AppConfig


class BillingConfig(AppConfig):
    name = "apiary_sales.billing"

    def ready(self) -> None:
        from apiary_sales.billing import mailed_papers

        mailed_papers.register()

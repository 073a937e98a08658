from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "apiary_sales.api"

    def ready(self) -> None:
        from apiary_sales.api import idempotency
        from apiary_sales.customers import personal_data
        from apiary_sales.keeping import tidying

        personal_data.register(
            personal_data.DataHolder(held=lambda customer: [], erase=idempotency.forget_all)
        )
        tidying.register(idempotency.forget_old)

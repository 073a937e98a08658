from django.apps import AppConfig


class ImportsConfig(AppConfig):
    name = "apiary_sales.imports"

    def ready(self) -> None:
        from apiary_sales.customers import personal_data
        from apiary_sales.imports.queries import personal_data as held_data
        from apiary_sales.imports.queries import sold_before
        from apiary_sales.imports.services import personal_data as erasing
        from apiary_sales.pricing import sales_sources

        personal_data.register(
            personal_data.DataHolder(held=held_data.held, still_needed=erasing.still_needed)
        )
        sales_sources.register(sold_before.SOURCE)

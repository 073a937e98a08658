from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "apiary_sales.web"

    def ready(self) -> None:
        from apiary_sales.web import help
        from inventory.shared import findable

        findable.register_help(help.pages)

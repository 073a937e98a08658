from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "apiary_sales.planning"

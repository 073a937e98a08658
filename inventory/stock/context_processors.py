"""Template context of the house's limits, for every page."""

from functools import cache

from django.http import HttpRequest

from inventory.stock.models import ProductionSettings


def moisture_limit(request: HttpRequest) -> dict[str, object]:
    """Give a page `moisture_limit`, which is asked for once, and only where it is used."""
    return {"moisture_limit": cache(lambda: ProductionSettings.current().moisture_limit_percent)}

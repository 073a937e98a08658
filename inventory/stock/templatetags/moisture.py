"""What is said of a lot's moisture, by the limit that the house has set.

Every page has the limit as `moisture_limit`, from the context processor of that name.
"""

from decimal import Decimal

from django import template

from inventory.stock import rules
from inventory.stock.models import Lot

register = template.Library()


@register.filter
def moisture_warning(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is above the house's limit, else nothing."""
    return rules.moisture_warning(lot, limit_percent)


@register.filter
def quiet_note(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is not above the house's limit, for its own page."""
    return rules.quiet_note(lot, limit_percent)

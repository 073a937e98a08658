"""What is said of a lot's moisture, by the limit that the house has set.

Every page has the limit as `moisture_limit`, from the context processor of that name.
"""

from decimal import Decimal

from django import template
from django.utils.translation import gettext as _

from inventory.physics import refractometer
from inventory.shared import conventions, words
from inventory.stock import rules
from inventory.stock.models import Lot

register = template.Library()


@register.filter
def moisture_warning(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is above the house's limit, else nothing."""
    return rules.moisture_warning(lot, limit_percent)


@register.filter
def as_brix(moisture_percent: Decimal) -> str:
    """Return what a refractometer of sugar shows for a moisture: 17.0 → "81.3 °Brix".

    Only in a metric house, where honey is often read so, and within the table for honey.
    """
    if not conventions.current().is_metric:
        return ""
    try:
        index = refractometer.refractive_index_from_moisture(float(moisture_percent))
        brix = refractometer.brix_from_refractive_index(index)
    except ValueError:
        return ""
    return _("%(brix)s °Brix") % {"brix": words.number(round(Decimal(brix), 1))}


@register.filter
def quiet_note(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is not above the house's limit, for its own page."""
    return rules.quiet_note(lot, limit_percent)

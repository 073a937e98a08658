"""Filters for what is sold by weight."""

from decimal import Decimal

from django import template
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.safestring import SafeString

from apiary_sales.orders.rules import lines
from apiary_sales.orders.rules import service_units as units
from inventory.shared.weights import unit_word

register = template.Library()


@register.filter
def priced_pounds(grams: int, price: Decimal) -> SafeString:
    """Show grams beside their price by weight, as papers print them: 2.65 → "655.50 lb"."""
    return printed_pounds(lines.printed_pounds(grams, price))


@register.filter
def printed_pounds(pounds: Decimal) -> SafeString:
    """Show a weight in the house's unit with the decimals it is printed with."""
    text = number_format(pounds, force_grouping=True)
    return format_html(
        '<span class="quantity"><b>{}</b> <small>{}</small></span>', text, unit_word()
    )


@register.filter
def service_units(hundredths: int) -> str:
    """Show a quantity of a service with the decimals it needs: 250 → "2.5"."""
    return units.in_words(hundredths)

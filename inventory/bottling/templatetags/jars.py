"""The public page of a lot's jars, for links: `{% load jars %}{% jar_page_of lot as url %}`."""

from django import template
from django.http import HttpRequest

from inventory.bottling.queries import jar_pages
from inventory.stock.models import Lot

register = template.Library()


@register.simple_tag(takes_context=True)
def jar_page_of(context: template.Context, lot: Lot) -> str:
    """Return the address of the page of these jars; an empty text where they have none."""
    request: HttpRequest = context["request"]
    if lot.kind != Lot.Kind.PACKED:
        return ""
    return jar_pages.address_of(lot, request) or ""

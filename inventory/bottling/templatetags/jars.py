"""What pages of the stock show of a lot's jars: `{% load jars %}{% jar_page_of lot as url %}`."""

from django import template
from django.http import HttpRequest

from inventory.bottling.models import ChangedPieces
from inventory.bottling.queries import changed_lots, jar_pages
from inventory.stock.models import Lot

register = template.Library()


@register.simple_tag(takes_context=True)
def jar_page_of(context: template.Context, lot: Lot) -> str:
    """Return the address of the page of these jars; an empty text where they have none."""
    request: HttpRequest = context["request"]
    if lot.kind != Lot.Kind.PACKED:
        return ""
    return jar_pages.address_of(lot, request) or ""


@register.simple_tag
def box_contents(lot: Lot) -> list[ChangedPieces]:
    """Return the pieces that went into the gift boxes of a lot; none for other goods."""
    return list(changed_lots.box_contents(lot))


@register.simple_tag
def lacks_labour(lot: Lot) -> bool:
    """Tell whether its cost leaves out work whose minutes nobody entered."""
    return changed_lots.lacks_labour(lot)

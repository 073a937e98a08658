"""The one lot that a code in an address means."""

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from inventory.shared.errors import BadValue
from inventory.stock.models import Lot

OF_PRODUCT = OpenApiParameter(
    "product",
    str,
    description="Short name of the product, or `in-bulk`: needed where several lots bear the code.",
)


def lot_of(request: Request, code: str) -> Lot:
    """Return the lot with this code, of the product asked for.

    Raises `Http404` without any, `BadValue` at `product` when several lots bear the code.
    """
    lots = Lot.objects.bearing(code, request.query_params.get("product", ""))
    found = list(lots.select_related("product__item")[:2])
    if not found:
        raise Http404
    if len(found) > 1:
        raise BadValue(
            _("Several lots have the code %(code)s. Say which by the product.") % {"code": code},
            parameter="product",
        )
    return found[0]


def pieces_of(code: str, product: str) -> Lot:
    """Return the lot of a product with this code; raises `Http404`."""
    found = Lot.objects.filter(product__isnull=False).select_related(
        "product__item", "product__size", "product__variety"
    )
    return get_object_or_404(found.bearing(code, product))


def in_bulk(code: str) -> Lot:
    """Return the lot of honey in bulk with this code; raises `Http404`."""
    return get_object_or_404(Lot.objects.bearing(code, Lot.BULK))

"""The vessels of the house as shapes: the one border to the physics, which counts in floats."""

from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.errors import BadValue
from inventory.models import Place, TankShape


def shape_of(place: Place):
    """Return the physical shape of a place. Raises `BadValue` when none was measured."""
    try:
        shape = place.shape
    except TankShape.DoesNotExist:
        raise BadValue(
            _("The shape of %(place)s is not known. Enter its measurements first.")
            % {"place": place.name},
            field="place",
        ) from None
    return physical(shape)


def physical(shape: TankShape, points: list[tuple[int, Decimal]] | None = None):
    """Return the pure shape for stored measurements (and, for a table, its points)."""
    raise NotImplementedError


def litres_at(place: Place, depth_mm: int) -> Decimal:
    """Return the litres in a vessel dipped to `depth_mm`, to a millilitre.

    Raises `BadValue` for a dip below nothing or deeper than the vessel.
    """
    shape = shape_of(place)
    deepest_mm = round(shape.height_cm * 10)
    if not 0 <= depth_mm <= deepest_mm:
        raise BadValue(
            _("The dip of %(depth)s mm is outside %(place)s, which is %(deepest)s mm deep.")
            % {"depth": depth_mm, "place": place.name, "deepest": deepest_mm},
            field="depth",
        )
    litres = shape.volume_l(min(depth_mm / 10, shape.height_cm))
    return Decimal(str(litres)).quantize(Decimal("0.001"))

"""The vessels of the house as shapes: a border to the physics, which counts in floats."""

from collections.abc import Callable, Sequence
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.physics import vessels
from inventory.shared import words
from inventory.shared.errors import BadValue
from inventory.stock.models import Place, TankShape

# A drum of 55 US gallons (208 L) is 22½ in wide and 33½ in high inside (common practice); full to
# the brim that is 57.7 gallons.
USUAL_DRUM_DIAMETER_MM = 572
USUAL_DRUM_HEIGHT_MM = 851
USUAL_DRUM_LITRES = (Decimal(195), Decimal(225))


def shape_of(place: Place) -> vessels.Vessel:
    """Return the physical shape of a place. Raises `BadValue` when none was measured."""
    try:
        shape = place.shape
    except TankShape.DoesNotExist:
        raise BadValue(
            _("The shape of %(place)s is not known. Enter its measurements first.")
            % {"place": place.name},
            parameter="place",
        ) from None
    return physical(shape)


def physical(
    shape: TankShape, points: Sequence[tuple[int, Decimal]] | None = None
) -> vessels.Vessel:
    """Return the pure shape for stored measurements (and, for a table, its points).

    `points` are pairs of a depth in mm and litres; those stored are taken when left out.
    Raises `ValueError` with range and unit where the measurements make no vessel.
    """
    if shape.form == TankShape.Form.TABLE:
        if points is None:
            points = [(point.depth_mm, point.litres) for point in shape.points.all()]
        return vessels.CalibrationTable(
            depths_cm=tuple(_cm(depth_mm) for depth_mm, _litres in points),
            volumes_l=tuple(float(litres) for _depth_mm, litres in points),
        )
    if shape.form == TankShape.Form.HORIZONTAL:
        return vessels.HorizontalCylinder(
            length_cm=_cm(shape.length_mm), diameter_cm=_cm(shape.diameter_mm), heads=_end(shape)
        )
    return vessels.UprightCylinder(
        diameter_cm=_cm(shape.diameter_mm), wall_cm=_cm(shape.length_mm), bottom=_end(shape)
    )


def capacity_litres(shape: vessels.Vessel) -> Decimal:
    """Return the litres a shape holds, full to the brim, to a millilitre."""
    return _litres(shape.capacity_l)


def litres_at(place: Place, depth_mm: int) -> Decimal:
    """Return the litres in a vessel dipped to `depth_mm`, to a millilitre.

    Raises `BadValue` for a dip below zero, deeper than the vessel, or below the first line of
    its calibration table.
    """
    shape = shape_of(place)
    deepest_mm = round(shape.height_cm * 10)
    if not 0 <= depth_mm <= deepest_mm:
        raise _too_deep(place, depth_mm, deepest_mm)
    try:
        litres = shape.volume_l(min(_cm(depth_mm), shape.height_cm))
    except ValueError:
        raise BadValue(
            _(
                "The dip of %(depth)s is below the first line of the calibration table of "
                "%(place)s. Add a line for a smaller depth, or weigh the honey that is "
                "left."
            )
            % {"depth": words.depth(depth_mm), "place": place.name},
            parameter="depth_mm",
        ) from None
    return _litres(litres)


def stick_litres(place: Place, depth_mm: int, mark_mm: Decimal) -> Decimal:
    """Return how far a dip can be wrong because the stick is read to its nearest mark.

    The litres in half a mark above or below the surface, whichever are more, within the vessel.
    """
    shape = shape_of(place)
    half_cm = float(mark_mm) / 20
    surface_cm = min(_cm(depth_mm), shape.height_cm)
    litres = shape.volume_l(surface_cm)
    apart = []
    for depth_cm in (max(0.0, surface_cm - half_cm), min(shape.height_cm, surface_cm + half_cm)):
        try:
            apart.append(abs(shape.volume_l(depth_cm) - litres))
        except ValueError:
            # Below the first line of a calibration table: the other side tells.
            continue
    return _litres(max(apart))


def drum_litres_at(drum: Place, depth_mm: int) -> Decimal:
    """Return the litres in a drum that is `depth_mm` deep, as an upright cylinder.

    A drum that was not measured counts as the usual one, where its capacity is that of 55 US
    gallons. Raises `BadValue` for any other drum without measurements, or a dip deeper than it is.
    """
    low, high = USUAL_DRUM_LITRES
    is_usual = drum.capacity_litres is not None and low <= drum.capacity_litres <= high
    if hasattr(drum, "shape") or not is_usual:
        return litres_at(drum, depth_mm)
    usual = vessels.UprightCylinder(
        diameter_cm=_cm(USUAL_DRUM_DIAMETER_MM),
        wall_cm=_cm(USUAL_DRUM_HEIGHT_MM),
        bottom=vessels.Flat(),
    )
    if not 0 <= depth_mm <= USUAL_DRUM_HEIGHT_MM:
        raise _too_deep(drum, depth_mm, USUAL_DRUM_HEIGHT_MM)
    return _litres(usual.volume_l(_cm(depth_mm)))


def level(place: Place, litres: Decimal) -> Decimal | None:
    """Return how high so many litres stand, as a share of the vessel's height, 0 to 1.

    A vessel whose shape is not known counts as a cylinder; None where not even its capacity is.
    """
    share = None
    if place.capacity_litres:
        share = min(litres / place.capacity_litres, Decimal(1))
    if not hasattr(place, "shape"):
        return share
    shape = physical(place.shape)
    try:
        depth_cm = shape.depth_cm(min(float(litres), shape.capacity_l))
    except ValueError:
        # Less than the first line of a calibration table: next to nothing.
        return Decimal(0)
    return Decimal(str(round(depth_cm / shape.height_cm, 4)))


def _too_deep(place: Place, depth_mm: int, deepest_mm: int) -> BadValue:
    return BadValue(
        _(
            "The dip is too deep: %(depth)s was entered, %(place)s is %(deepest)s deep inside. "
            "Check the figure and its unit."
        )
        % {
            "depth": words.depth(depth_mm),
            "place": place.name,
            "deepest": words.depth(deepest_mm),
        },
        parameter="depth_mm",
    )


def _end(shape: TankShape) -> vessels.End:
    ends: dict[str, Callable[[], vessels.End]] = {
        TankShape.End.FLAT: vessels.Flat,
        TankShape.End.ELLIPTICAL: vessels.Elliptical,
        TankShape.End.HEMISPHERE: vessels.Hemispherical,
    }
    if shape.end == TankShape.End.CONE:
        return vessels.Cone(_cm(shape.cone_mm))
    return ends[shape.end]()


def _cm(mm: int | None) -> float:
    # A measurement that is missing makes no vessel: the physics refuses nought.
    return (mm or 0) / 10


def _litres(litres: float) -> Decimal:
    return Decimal(str(litres)).quantize(Decimal("0.001"))

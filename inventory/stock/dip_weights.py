"""What a dip weighs, and how far that can be wrong: by the dip stick and by the density.

The stick is read to its nearest finest mark, so that the surface is within half a mark of what was
read, and anywhere there is as likely: GUM (JCGM 100:2008), F.2.2.1, the resolution of an
indication (from memory). The GUM goes on to a standard uncertainty of 0.29 of a mark. Here the half
mark itself counts, as a bound, because the density tables have bounds and no standard uncertainty
(`physics/density.py`); and bounds are added, since the root of their squares would promise less
than what both together can be wrong by. Between two dips each reading counts with its half mark,
and the density with the honey between them.
"""

from decimal import Decimal

from inventory.stock import density, vessels
from inventory.stock.density import WeighedVolume
from inventory.stock.models import Place


def of_depth(
    place: Place, depth_mm: int, *, moisture_percent: Decimal, celsius: Decimal, mark_mm: Decimal
) -> WeighedVolume:
    """Return what the honey of a vessel dipped to `depth_mm` weighs; `mark_mm` is the stick's.

    Raises `BadValue` for a dip that cannot be, `ValueError` outside the density's range.
    """
    return density.grams_of(
        vessels.litres_at(place, depth_mm),
        moisture_percent=moisture_percent,
        celsius=celsius,
        stick_litres=vessels.stick_litres(place, depth_mm, mark_mm),
    )


def between(
    place: Place,
    before_mm: int,
    after_mm: int,
    *,
    moisture_percent: Decimal,
    celsius: Decimal,
    mark_mm: Decimal,
) -> WeighedVolume:
    """Return what the honey between two dips of a vessel weighs, the deeper one first.

    Raises as `of_depth`.
    """
    return density.grams_of(
        vessels.litres_at(place, before_mm) - vessels.litres_at(place, after_mm),
        moisture_percent=moisture_percent,
        celsius=celsius,
        stick_litres=vessels.stick_litres(place, before_mm, mark_mm)
        + vessels.stick_litres(place, after_mm, mark_mm),
    )

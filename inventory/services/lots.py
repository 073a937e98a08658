"""Lots: their codes, their measurements, and what mixing makes of them."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from inventory.errors import BadValue
from inventory.models import Lot, LotParent, Place
from inventory.money import share_cents
from inventory.physics import refractometer
from inventory.services import ledger
from inventory.services.checks import save_checked


@dataclass(frozen=True)
class Portion:
    """So many grams of a lot, on their way from a place."""

    lot: Lot
    grams: int
    source: Place


def moisture_from_index(index: Decimal, celsius: Decimal | None) -> Decimal:
    """Return moisture in percent, to a hundredth, from a refractometer index read at `celsius`.

    Without a temperature the reading counts as one at 20 °C. Raises `BadValue`.
    """
    try:
        moisture = refractometer.moisture_from_refractive_index(
            float(index), celsius=20.0 if celsius is None else float(celsius)
        )
    except ValueError as error:
        in_a_room = celsius is None or (
            refractometer.CELSIUS.low <= celsius <= refractometer.CELSIUS.high
        )
        field = "refractive_index" if in_a_room else "refractometer_celsius"
        raise BadValue(str(error), field=field) from error
    return Decimal(str(round(moisture, 2)))


def make_blend(portions: Iterable[Portion]) -> Lot:
    """Make the lot that the portions become, with the grams of each parent."""
    grams_by_lot = _grams_by_lot(portions)
    lot = blend_of(grams_by_lot)
    lot.code = next_code(lot.season, "B")
    save_checked(lot)
    LotParent.objects.bulk_create(
        LotParent(lot=lot, parent=parent, grams=grams) for parent, grams in grams_by_lot.items()
    )
    return lot


def mixed(portions: Iterable[Portion]) -> Lot:
    """Return the lot the portions are together: the one they share, or their blend, not saved."""
    grams_by_lot = _grams_by_lot(portions)
    return next(iter(grams_by_lot)) if len(grams_by_lot) == 1 else blend_of(grams_by_lot)


def blend_of(grams_by_lot: dict[Lot, int]) -> Lot:
    """Return the blend of these lots with its measurements, not saved and without a code."""
    return Lot(
        kind=Lot.Kind.BLEND,
        season=max(lot.season for lot in grams_by_lot),
        floral_source=_joined(lot.floral_source for lot in grams_by_lot),
        yard=_joined(lot.yard for lot in grams_by_lot),
        made_on=timezone.localdate(),
        moisture_percent=_mean(grams_by_lot, "moisture_percent", "0.01"),
        colour_mm=_mean(grams_by_lot, "colour_mm", "0.1"),
        quantity_made=sum(grams_by_lot.values()),
        cost_cents=_cost(grams_by_lot),
    )


def _grams_by_lot(portions: Iterable[Portion]) -> dict[Lot, int]:
    grams_by_lot: dict[Lot, int] = {}
    for portion in portions:
        grams_by_lot[portion.lot] = grams_by_lot.get(portion.lot, 0) + portion.grams
    return grams_by_lot


def _mean(grams_by_lot: dict[Lot, int], field: str, step: str) -> Decimal | None:
    """Return the mass-weighted mean of a measurement; None when it is unknown for any lot."""
    if any(getattr(lot, field) is None for lot in grams_by_lot):
        return None
    weighted = sum(getattr(lot, field) * grams for lot, grams in grams_by_lot.items())
    return (weighted / sum(grams_by_lot.values())).quantize(Decimal(step))


def _cost(grams_by_lot: dict[Lot, int]) -> int | None:
    if any(lot.unit_cost_cents is None for lot in grams_by_lot):
        return None
    return sum(
        share_cents(lot.cost_cents, grams, lot.quantity_made) for lot, grams in grams_by_lot.items()
    )


def _joined(names: Iterable[str]) -> str:
    """Join names without repeating any: "Clover" and "Clover, Basswood" → "Clover, Basswood"."""
    parts = [part.strip() for name in names for part in name.split(",") if part.strip()]
    joined = ", ".join(dict.fromkeys(parts))
    return joined if len(joined) <= 120 else joined[:117] + "..."


def next_code(season: int, letter: str) -> str:
    number = ledger.next_number(f"lot-{season}-{letter}")
    return f"{season % 100:02d}-{letter}{number:02d}"

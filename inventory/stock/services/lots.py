"""Lots: their codes, their measurements, and what mixing makes of them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.physics import refractometer
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.stock import rules
from inventory.stock.models import Lot, LotParent, Place
from inventory.stock.models.lots import MOISTURE_MAX, MOISTURE_MIN
from inventory.stock.services import numbers


@dataclass(frozen=True)
class Portion:
    """So many grams of a lot, on their way from a place."""

    lot: Lot
    grams: int
    source: Place


SEASON_MIN = 2000
# The Pfund wedge ends at 140 mm; photometers that imitate it read a little further.
COLOUR_MM_MAX = 150

# Lots that are not saved yet can't be keys, so that parts are pairs.
Parts = list[tuple[Lot, int]]


def is_season(season: int) -> bool:
    """Tell whether a year can be a season of honey that is here: southern ones end next year."""
    return SEASON_MIN <= season <= timezone.localdate().year + 1


def check_facts(
    problems: Problems, *, floral_source: str, season: int, colour_mm: Decimal | None
) -> None:
    """Add what is wrong with what is said of honey that comes in."""
    if not floral_source.strip():
        problems.add("floral_source", _("Enter the floral source, for example clover."))
    if not is_season(season):
        problems.add(
            "season",
            _("Enter the season as a year from %(first)s to %(last)s.")
            % {"first": SEASON_MIN, "last": timezone.localdate().year + 1},
        )
    if colour_mm is not None and not 0 <= colour_mm <= COLOUR_MM_MAX:
        problems.add("colour_mm", _("Enter a colour from 0 to 150 mm Pfund."))


def moisture_known(
    moisture_percent: Decimal | None,
    refractive_index: Decimal | None = None,
    refractometer_celsius: Decimal | None = None,
) -> Decimal:
    """Return the moisture in percent, as it was measured or by a refractometer index.

    Raises `BadValue` where it is missing or that of no honey.
    """
    if moisture_percent is None and refractive_index is not None:
        moisture_percent = moisture_from_index(refractive_index, refractometer_celsius)
    if moisture_percent is None:
        raise BadValue(
            _("Enter the moisture, or the refractometer index."), parameter="moisture_percent"
        )
    if not MOISTURE_MIN <= moisture_percent <= MOISTURE_MAX:
        raise BadValue(_("Enter a moisture from 10 to 30 percent."), parameter="moisture_percent")
    return moisture_percent


def moisture_from_index(
    refractive_index: Decimal, refractometer_celsius: Decimal | None
) -> Decimal:
    """Return moisture in percent, to a hundredth, from a refractometer's index.

    Without a temperature the reading counts as one at 20 °C. Raises `BadValue`.
    """
    read_at = Decimal(20) if refractometer_celsius is None else refractometer_celsius
    low, high = (Decimal(end) for end in (refractometer.CELSIUS.low, refractometer.CELSIUS.high))
    if not low <= read_at <= high:
        raise BadValue(
            _(
                "A reading can be corrected for temperatures from %(low)s to %(high)s. You "
                "entered %(typed)s. Check the figure and its unit, or take the reading "
                "again indoors."
            )
            % {
                "low": words.temperature(low),
                "high": words.temperature(high),
                "typed": words.temperature(read_at),
            },
            parameter="refractometer_celsius",
        )
    try:
        moisture = refractometer.moisture_from_refractive_index(
            float(refractive_index), celsius=float(read_at)
        )
    except ValueError as error:
        raise BadValue(
            _(
                "An index of %(index)s is outside the table, which goes from 1.4740 (25 %% "
                "moisture) to 1.5044 (13 %%) at 20 °C. Take the reading again, or enter "
                "the moisture in percent."
            )
            % {"index": refractive_index},
            parameter="refractive_index",
        ) from error
    return Decimal(str(round(moisture, 2)))


@transaction.atomic
def set_origin(*, lot: Lot, country: str, region: str) -> Lot:
    """Set where honey that came in was harvested; empty where it is not known.

    What is made of the lot follows. Raises `NotAllowedNow` for a lot made of others, `BadValue`.
    """
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    if not rules.has_own_origin(lot) or lot.parent_links.exists():
        raise NotAllowedNow(
            _(
                "Where lot %(lot)s is from follows from the lots it was made of. Enter the "
                "country of those lots instead."
            )
            % {"lot": lot.code}
        )
    lot.country, lot.region = country, region.strip()
    save_checked(lot)
    return lot


def make_blend(portions: Iterable[Portion], *, made_on: date | None = None) -> Lot:
    """Make the lot that the portions become, today or that day, with the grams of each parent."""
    parts = _parts(portions)
    lot = blend_of(parts)
    lot.made_on = made_on or lot.made_on
    lot.code = next_code(lot.season, "B")
    save_checked(lot)
    LotParent.objects.bulk_create(
        LotParent(lot=lot, parent=parent, grams=grams) for parent, grams in parts
    )
    return lot


def unknown(day: date) -> Lot:
    """Return the lot of honey that was drawn that day while nobody knows of which lot it was.

    It is not saved and has no code.
    """
    return Lot(kind=Lot.Kind.UNKNOWN, season=day.year, floral_source=_("not known"), made_on=day)


def save_unknown(lot: Lot) -> None:
    """Save an unknown lot that something was drawn of; leave any other as it is."""
    if lot.pk is None and lot.kind == Lot.Kind.UNKNOWN:
        lot.code = next_code(lot.season, "U")
        save_checked(lot)


def mixed(portions: Iterable[Portion]) -> Lot:
    """Return the lot the portions are together: the one they share, or their blend, not saved."""
    parts = _parts(portions)
    return parts[0][0] if len(parts) == 1 else blend_of(parts)


def _parts(portions: Iterable[Portion]) -> Parts:
    """Add up the grams of each lot, in the order the lots come."""
    parts: Parts = []
    for portion in portions:
        grams = portion.grams
        for at, (lot, known) in enumerate(parts):
            if lot == portion.lot:
                parts[at] = (lot, known + grams)
                break
        else:
            parts.append((portion.lot, grams))
    return parts


def blend_of(parts: Parts) -> Lot:
    """Return the blend of these lots with its measurements, not saved and without a code.

    Its colour is unknown where that of any lot is.
    """
    colours = [(lot.colour_mm, grams) for lot, grams in parts if lot.colour_mm is not None]
    return Lot(
        kind=Lot.Kind.BLEND,
        season=max(lot.season for lot, _grams in parts),
        floral_source=joined(lot.floral_source for lot, _grams in parts),
        yard=joined(lot.yard for lot, _grams in parts),
        made_on=timezone.localdate(),
        moisture_percent=_mean_known(
            [(lot.moisture_percent, grams) for lot, grams in parts], "0.01"
        ),
        colour_mm=_mean(colours, "0.1") if len(colours) == len(parts) else None,
        quantity_made=sum(grams for _lot, grams in parts),
        cost_cents=rules.cost_cents(parts),
        # Honey of different owners is never mixed, so the first speaks for all.
        owner=parts[0][0].owner,
    )


def _mean_known(figures: Sequence[tuple[Decimal | None, int]], step: str) -> Decimal | None:
    """Return the mean of the figures that are known; None where none is."""
    known = [(figure, grams) for figure, grams in figures if figure is not None]
    return _mean(known, step) if known else None


def _mean(figures: Sequence[tuple[Decimal, int]], step: str) -> Decimal:
    """Return the mean of figures weighted by their grams, rounded to `step`."""
    weighted = sum((figure * grams for figure, grams in figures), Decimal(0))
    return (weighted / sum(grams for _figure, grams in figures)).quantize(Decimal(step))


def joined(names: Iterable[str]) -> str:
    """Join names without repeating any: "Clover" and "Clover, Basswood" → "Clover, Basswood"."""
    parts = [part.strip() for name in names for part in name.split(",") if part.strip()]
    joined = ", ".join(dict.fromkeys(parts))
    return joined if len(joined) <= 120 else joined[:117] + "..."


def next_code(season: int, letter: str) -> str:
    number = numbers.next_number(f"lot-{season}-{letter}")
    return f"{season % 100:02d}-{letter}{number:02d}"

"""Lots: their codes, their measurements, and what mixing makes of them."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.physics import refractometer
from inventory.shared import words
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.stock import rules
from inventory.stock.models import (
    Lot,
    LotCorrection,
    LotParent,
    Measurement,
    Place,
    ProductionSettings,
)
from inventory.stock.models.lots import MOISTURE_MAX, MOISTURE_MIN, Origin
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
# 25 % and 13 % of water by the table of honey are 73.4 and 85.2 °Brix; at 40 and 10 °C a reading
# is a little below and above.
BRIX_MIN, BRIX_MAX = Decimal(71), Decimal(85)

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

    A scale of percent water that was read at a temperature is corrected as the index is. Raises
    `BadValue` where it is missing or that of no honey.
    """
    if moisture_percent is not None and refractive_index is None:
        _check_moisture(moisture_percent)
        moisture_percent = moisture_at_reference(moisture_percent, refractometer_celsius)
    elif moisture_percent is None and refractive_index is not None:
        moisture_percent = moisture_from_index(refractive_index, refractometer_celsius)
    if moisture_percent is None:
        raise BadValue(
            _("Enter the moisture, or the refractometer index."), parameter="moisture_percent"
        )
    _check_moisture(moisture_percent)
    return moisture_percent


def _check_moisture(moisture_percent: Decimal) -> None:
    if not MOISTURE_MIN <= moisture_percent <= MOISTURE_MAX:
        raise BadValue(_("Enter a moisture from 10 to 30 percent."), parameter="moisture_percent")


def moisture_from_index(
    refractive_index: Decimal, refractometer_celsius: Decimal | None
) -> Decimal:
    """Return moisture in percent, to a hundredth, from a refractometer's index.

    Without a temperature the reading counts as one at 20 °C. Raises `BadValue`.
    """
    read_at = _reading_celsius(refractometer_celsius)
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


def index_from_brix(brix: Decimal) -> Decimal:
    """Return the index, to 0.00001, that a refractometer of °Brix saw when it showed `brix`.

    Raises `BadValue` for a figure that no honey shows.
    """
    if not BRIX_MIN <= brix <= BRIX_MAX:
        raise BadValue(
            _(
                "Honey shows from %(low)s to %(high)s °Brix; you entered %(typed)s. Take the "
                "reading again, or enter the moisture in percent."
            )
            % {
                "low": words.number(BRIX_MIN),
                "high": words.number(BRIX_MAX),
                "typed": words.number(brix.normalize()),
            },
            parameter="brix",
        )
    return Decimal(str(round(refractometer.refractive_index_from_brix(float(brix)), 5)))


def moisture_at_reference(moisture_percent: Decimal, celsius: Decimal | None) -> Decimal:
    """Return the moisture of honey that a scale of percent water showed at a temperature.

    The scale is made for 20 °C; without a temperature the instrument corrected itself. Raises
    `BadValue`.
    """
    if celsius is None:
        return moisture_percent
    _reading_celsius(celsius)
    try:
        index = refractometer.refractive_index_from_moisture(float(moisture_percent))
    except ValueError as error:
        raise BadValue(
            _(
                "A reading can be corrected from 13 to 25 percent of water. Take it again at 68 °F "
                "(20 °C), and leave the temperature empty."
            ),
            parameter="moisture_percent",
        ) from error
    return moisture_from_index(Decimal(str(index)), celsius)


def _reading_celsius(refractometer_celsius: Decimal | None) -> Decimal:
    """Return the temperature of a reading; 20 °C when left out. Raises `BadValue`."""
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
    return read_at


@transaction.atomic
def set_origin(*, lot: Lot, country: str, region: str) -> Lot:
    """Set where honey that came in was harvested; empty where it is not known.

    What is made of the lot follows. Raises `NotAllowedNow` for a lot made of others, `BadValue`.
    """
    lot = Lot.objects.select_for_update(no_key=True).get(pk=lot.pk)
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
    lot = blend_of(parts, made_on)
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


def blend_of(parts: Parts, made_on: date | None = None) -> Lot:
    """Return the blend of these lots with its figures, not saved and without a code.

    It has the names and the season that most of its honey has, so that what was left in a tank
    does not rename what is poured on it; moisture and colour are the means of what was known of
    the lots on the day. Its colour is unknown where that of any lot is. A single lot alone is
    called as it is.
    """
    moistures = [(_figure(lot, Measurement.What.MOISTURE, made_on), grams) for lot, grams in parts]
    colours = [(_figure(lot, Measurement.What.COLOUR, made_on), grams) for lot, grams in parts]
    sources, origins = _shares(parts, Lot.named_sources), _shares(parts, Lot.origins)
    least = Fraction(ProductionSettings.current().named_source_percent) / 100
    return Lot(
        kind=Lot.Kind.BLEND,
        season=rules.season_by_share(origins),
        floral_source=rules.names_by_share(
            [(each.lot.floral_source, each.share) for each in sources], least=least
        ),
        yard=rules.names_by_share([(each.lot.yard, each.share) for each in origins], least=least),
        made_on=made_on or timezone.localdate(),
        moisture_percent=_mean_known(moistures, "0.01"),
        colour_mm=_mean(colours, "0.1"),
        quantity_made=sum(grams for _lot, grams in parts),
        cost_cents=rules.cost_cents(parts),
        # Honey of different owners is never mixed, so the first speaks for all.
        owner=parts[0][0].owner,
    )


def _figure(lot: Lot, what: str, on: date | None) -> Decimal | None:
    """Return a figure of a lot as it was known on a day; a lot that is not saved has its own."""
    if lot.pk is None or on is None:
        return lot.moisture_percent if what == Measurement.What.MOISTURE else lot.colour_mm
    return Measurement.objects.figure_of(lot, what, on=on)


def _shares(parts: Parts, of: Callable[[Lot], list[Origin]]) -> list[Origin]:
    """Return the lots that `of` finds in each part, with their shares of all the parts."""
    whole = sum(grams for _lot, grams in parts)
    found = []
    for lot, grams in parts:
        # A lot that is only previewed was made of nothing yet.
        is_whole = lot.pk is None or len(parts) == 1
        inside = [Origin(lot, Fraction(1))] if is_whole else of(lot)
        found += [Origin(each.lot, each.share * Fraction(grams, whole)) for each in inside]
    return found


def _mean_known(figures: Sequence[tuple[Decimal | None, int]], step: str) -> Decimal | None:
    """Return the mean of the figures that are known; None where none is."""
    known = [(figure, grams) for figure, grams in figures if figure is not None]
    return _mean(known, step) if known else None


def _mean(figures: Sequence[tuple[Decimal | None, int]], step: str) -> Decimal | None:
    """Return the mean of figures weighted by their grams, rounded to `step`.

    None where any figure is unknown.
    """
    weighted = Decimal(0)
    for figure, grams in figures:
        if figure is None:
            return None
        weighted += figure * grams
    return (weighted / sum(grams for _figure, grams in figures)).quantize(Decimal(step))


def joined(names: Iterable[str]) -> str:
    """Join names without repeating any: "Clover" and "Clover, Basswood" → "Clover, Basswood"."""
    parts = [part.strip() for name in names for part in name.split(",") if part.strip()]
    return rules.in_room(list(dict.fromkeys(parts)))


@transaction.atomic
def name_blend(*, lot: Lot, floral_source: str, named_by: Person) -> Lot:
    """Call a blend by a name of the house's choice; what it was called before stays readable.

    Jars that are filled already keep what they were filled as. Raises `NotAllowedNow` for a lot
    that is no blend in bulk, `BadValue`.
    """
    lot = Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=lot.pk)
    if lot.kind != Lot.Kind.BLEND:
        raise NotAllowedNow(
            _("Lot %(lot)s is no blend. Only a blend can be given a name.") % {"lot": lot.code}
        )
    name = floral_source.strip()
    if not name:
        raise BadValue(_("Enter the name of the blend."), parameter="floral_source")
    if name == lot.floral_source and lot.is_named:
        return lot
    LotCorrection.objects.create(
        lot=lot,
        before={"floral_source": lot.floral_source},
        after={"floral_source": name},
        reason=_("The blend was named."),
        corrected_by=named_by,
    )
    lot.floral_source, lot.is_named = name, True
    save_checked(lot)
    return lot


def next_code(season: int, letter: str) -> str:
    number = numbers.next_number(f"lot-{season}-{letter}")
    return f"{season % 100:02d}-{letter}{number:02d}"

"""Places: tanks with their shape, drums with their tare, shelves, the stand and the van."""

import string
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import acts, checks, words
from inventory.shared.errors import BadValue, NotAllowedNow, Problems, parameters_named
from inventory.stock import density, rules, vessels
from inventory.stock.models import Balance, CalibrationPoint, Place, TankShape

# More drums than this in one go is a slip of the finger.
DRUMS_MAX = 200
# Larger or heavier than any vessel of a honey house: a slip of the finger, or of the unit.
MEASURE_MM_MAX = 50_000
CAPACITY_LITRES_MAX = 500_000
TARE_GRAMS_MAX: dict[str, int] = {Place.Kind.PAIL: 100_000}
TARE_GRAMS_MAX_ELSE = 5_000_000
# /honey/places/new/ is the page that makes a place.
TAKEN_BY_ADDRESSES = ("new", "drums")


@dataclass(frozen=True)
class Shape:
    """The inside measurements of a vessel, in whole millimetres; `points` are for a table.

    `length_mm` is the height of an upright tank's straight wall, or the length of a lying one's.
    A point is a depth in mm and the litres that stand at it.
    """

    form: str
    diameter_mm: int | None = None
    length_mm: int | None = None
    end: str = TankShape.End.FLAT
    cone_mm: int | None = None
    points: Sequence[tuple[int, Decimal]] = ()


@transaction.atomic
def create(
    *,
    kind: str,
    code: str,
    name: str,
    tare_grams: int | None = None,
    capacity_litres: Decimal | None = None,
    shape: Shape | None = None,
    note: str = "",
) -> Place:
    """Add a place where honey or stock is kept. With a shape, the capacity is worked out from it.

    Raises `BadValue` or `SeveralProblems`.
    """
    if kind not in (*Place.VESSELS, *Place.FOR_GOODS):
        raise BadValue(_("Choose what kind of place it is."), parameter="kind")
    if code in TAKEN_BY_ADDRESSES:
        raise BadValue(_("Choose another short name: this one is taken."), parameter="code")
    if shape and kind not in Place.VESSELS:
        raise BadValue(_("Only a vessel for honey has a shape."), parameter="shape")
    problems = Problems()
    if Place.objects.filter(code__iexact=code).exists():
        problems.add(
            "code", _("%(code)s is taken already. Choose another short name.") % {"code": code}
        )
    capacity_litres = capacity_of(shape, capacity_litres)
    _check_size(problems, kind, tare_grams, capacity_litres, _capacity_parameter(shape))
    problems.raise_any()
    place = Place(
        kind=kind,
        code=code,
        name=name.strip(),
        tare_grams=tare_grams,
        capacity_litres=capacity_litres,
        note=note.strip(),
    )
    checks.save_checked(place)
    if shape:
        _measure(place, shape)
    return place


@transaction.atomic
def create_drums(
    *,
    first_code: str,
    count: int,
    tare_grams: int | None = None,
    capacity_litres: Decimal | None = None,
) -> list[Place]:
    """Add several drums in a row: D-001 and 20 make D-001 to D-020.

    Raises `BadValue` when the number does not end in digits, a drum is there already, or the count
    is absurd.
    """
    problems = Problems()
    stem = first_code.rstrip(string.digits)
    digits = first_code.removeprefix(stem)
    if not digits:
        problems.add("first_code", _("The first number must end in digits, for example D-001."))
    if not 1 <= count <= DRUMS_MAX:
        problems.add("count", _("Enter how many drums, from 1 to %(most)s.") % {"most": DRUMS_MAX})
    _check_size(problems, Place.Kind.DRUM, tare_grams, capacity_litres)
    problems.raise_any()
    first, width = int(digits), len(digits)
    codes = [f"{stem}{number:0{width}d}" for number in range(first, first + count)]
    known = Place.objects.filter(code__in=codes).order_by("code").values_list("code", flat=True)
    if known:
        raise BadValue(
            _("Taken already: %(codes)s. Choose another first number.")
            % {"codes": ", ".join(known[:5])},
            parameter="first_code",
        )
    with parameters_named(code="first_code"):
        return [
            create(
                kind=Place.Kind.DRUM,
                code=code,
                name=_("Drum %(number)s") % {"number": code},
                tare_grams=tare_grams,
                capacity_litres=capacity_litres,
            )
            for code in codes
        ]


@transaction.atomic
def change(
    *,
    place: Place,
    name: str,
    tare_grams: int | None = None,
    capacity_litres: Decimal | None = None,
    shape: Shape | None = None,
    note: str = "",
) -> Place:
    """Change what is known of a place; its kind and number stay. Without a shape, it has none.

    Raises `BadValue`, also where what is in it now would not fit the new capacity.
    """
    problems = Problems()
    capacity_litres = capacity_of(shape, capacity_litres)
    _check_size(problems, place.kind, tare_grams, capacity_litres, _capacity_parameter(shape))
    problems.raise_any()
    place.name = name.strip()
    place.tare_grams = tare_grams
    place.capacity_litres = capacity_litres
    place.note = note.strip()
    _check_capacity(place, _capacity_parameter(shape))
    checks.save_checked(place)
    if shape:
        _measure(place, shape)
    else:
        TankShape.objects.filter(place=place).delete()
    return Place.objects.get(pk=place.pk)


@transaction.atomic
def take_out_of_use(*, place: Place) -> Place:
    """Keep a place from new acts; it must be empty. Raises `NotAllowedNow`."""
    if Balance.objects.filter(place=place, quantity__gt=0).exists():
        raise NotAllowedNow(
            _("%(place)s is not empty. Move or write off what is there first.")
            % {"place": place.name}
        )
    place.is_active = False
    place.save(update_fields=["is_active"])
    return place


@transaction.atomic
def put_in_use(*, place: Place) -> Place:
    """Take a place that was out of use back into use."""
    place.is_active = True
    place.save(update_fields=["is_active"])
    return place


@acts.act
def send_away(places: Iterable[Place]) -> None:
    """Take places out of use that leave the house, such as drums sold with their honey."""
    _set_in_use(places, False)


@transaction.atomic
def take_back(places: Iterable[Place]) -> None:
    """Take places that were sent away back into use."""
    _set_in_use(places, True)


def _set_in_use(places: Iterable[Place], is_active: bool) -> None:
    for place in places:
        place.is_active = is_active
        # One by one: the trail of changes listens to saves, not to updates in bulk.
        place.save(update_fields=["is_active"])


def capacity_of(shape: Shape | None, capacity_litres: Decimal | None = None) -> Decimal | None:
    """Return the capacity a shape has, or the one that was typed where there is no shape."""
    if shape is None:
        return capacity_litres
    _check_measurements(shape)
    try:
        vessel = vessels.physical(_with_figures(TankShape(), shape), shape.points)
    except ValueError as error:
        raise BadValue(str(error), parameter=_capacity_parameter(shape)) from error
    return vessels.capacity_litres(vessel)


def _capacity_parameter(shape: Shape | None) -> str:
    """Return the parameter that decides what a vessel holds."""
    if shape is None:
        return "capacity_litres"
    return "shape.points" if shape.form == TankShape.Form.TABLE else "shape.diameter_mm"


def _check_size(
    problems: Problems,
    kind: str,
    tare_grams: int | None,
    capacity_litres: Decimal | None,
    capacity_parameter: str = "capacity_litres",
) -> None:
    heaviest_grams = TARE_GRAMS_MAX.get(kind, TARE_GRAMS_MAX_ELSE)
    if tare_grams is not None and kind == Place.Kind.DRUM:
        rules.check_tare(problems, "tare_grams", tare_grams, capacity_litres)
    elif tare_grams is not None and tare_grams > heaviest_grams:
        problems.add(
            "tare_grams",
            _("%(tare)s is more than an empty vessel weighs. Check the figure and its unit.")
            % {"tare": words.weight(tare_grams)},
        )
    if capacity_litres is None:
        return
    if capacity_litres <= 0:
        problems.add(capacity_parameter, _("Enter a capacity of more than zero."))
    elif capacity_litres > CAPACITY_LITRES_MAX:
        problems.add(
            capacity_parameter,
            _("%(capacity)s is too much for one vessel. Check the figure and its unit.")
            % {"capacity": words.volume(capacity_litres)},
        )


def _check_measurements(shape: Shape) -> None:
    problems = Problems()
    if shape.form not in TankShape.Form.values:
        problems.add("shape.form", _("Choose the shape of the vessel."))
    elif shape.form == TankShape.Form.TABLE:
        _check_table(problems, shape.points)
    else:
        if not shape.diameter_mm:
            problems.add("shape.diameter_mm", _("Enter the inside diameter."))
        if not shape.length_mm:
            problems.add("shape.length_mm", _("Enter the height or length of the straight wall."))
        if shape.end not in TankShape.End.values:
            problems.add("shape.end", _("Choose the form of the bottom or the ends."))
        elif shape.end == TankShape.End.CONE and not shape.cone_mm:
            problems.add("shape.cone_mm", _("Enter how deep the cone is."))
        for name in ("diameter_mm", "length_mm", "cone_mm"):
            measured_mm = getattr(shape, name) or 0
            if measured_mm > MEASURE_MM_MAX:
                problems.add(
                    f"shape.{name}",
                    _("%(measured)s is too much for a tank. Check the figure and its unit.")
                    % {"measured": words.depth(measured_mm)},
                )
    problems.raise_any()


def _check_table(problems: Problems, points: Sequence[tuple[int, Decimal]]) -> None:
    if len(points) < 2:
        problems.add(
            "shape.points",
            _("A calibration table needs two lines or more, each with a depth and its litres."),
        )
    for number, ((depth_mm, litres), (next_mm, next_litres)) in enumerate(pairwise(points), 2):
        if next_mm <= depth_mm or next_litres <= litres:
            problems.add(
                "shape.points",
                _("Line %(number)s must have a greater depth and more litres than the line before.")
                % {"number": number},
            )


def _with_figures(row: TankShape, shape: Shape) -> TankShape:
    """Put the figures of a shape on a row, and none that its form does not use."""
    has_walls = shape.form != TankShape.Form.TABLE
    row.form = shape.form
    row.diameter_mm = shape.diameter_mm if has_walls else None
    row.length_mm = shape.length_mm if has_walls else None
    row.end = shape.end if has_walls else TankShape.End.FLAT
    row.cone_mm = shape.cone_mm if has_walls and shape.end == TankShape.End.CONE else None
    return row


def _measure(place: Place, shape: Shape) -> None:
    standing = TankShape.objects.filter(place=place).first()
    row = _with_figures(standing or TankShape(place=place), shape)
    checks.save_checked(row)
    row.points.all().delete()
    if shape.form == TankShape.Form.TABLE:
        CalibrationPoint.objects.bulk_create(
            CalibrationPoint(shape=row, depth_mm=depth_mm, litres=litres)
            for depth_mm, litres in shape.points
        )


def _check_capacity(place: Place, parameter: str) -> None:
    there = Balance.objects.in_vessel(place) if place.is_vessel else None
    if there is None or place.capacity_litres is None:
        return
    litres = density.litres_of(there.quantity, moisture_percent=there.honey_lot.honey_moisture)
    if litres > place.capacity_litres:
        raise BadValue(
            _(
                "%(place)s now has %(there)s in it. That does not fit into %(capacity)s. "
                "Enter a larger capacity, or empty it first."
            )
            % {
                "place": place.name,
                "there": words.volume(litres),
                "capacity": words.volume(place.capacity_litres),
            },
            parameter=parameter,
        )

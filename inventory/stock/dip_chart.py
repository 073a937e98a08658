"""The dip chart of a vessel: from every mark of a stick to volume and weight.

Volume comes from the vessel's shape, weight from the density at one moisture and temperature. How
far a weight can be wrong is what the density tables can be wrong by, and half a mark of the stick
above or below, since a stick is read to its nearest mark. Both are bounds and are added.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby, zip_longest

from inventory.physics.units import GALLON_LITRES, MM_PER_INCH, POUND_GRAMS
from inventory.physics.vessels import Vessel
from inventory.stock import density

EIGHTH_OF_AN_INCH_MM = MM_PER_INCH / 8
CENTIMETRE_MM = Decimal(10)
EIGHTHS = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")


@dataclass(frozen=True)
class ChartRow:
    """One depth, what stands up to it, and how far its weight can be wrong either way."""

    depth_mm: Decimal
    litres: Decimal
    grams: int
    uncertainty_grams: int

    @property
    def centimetres(self) -> Decimal:
        return self.depth_mm / 10

    @property
    def inches(self) -> Decimal:
        return self.depth_mm / MM_PER_INCH

    @property
    def inches_in_eighths(self) -> str:
        """The depth as a stick shows it, to the nearest eighth: "12 ⅜"."""
        whole, eighths = divmod(round(self.depth_mm / EIGHTH_OF_AN_INCH_MM), 8)
        if whole and eighths:
            return f"{whole} {EIGHTHS[eighths]}"
        return EIGHTHS[eighths] or str(whole)

    @property
    def gallons(self) -> Decimal:
        return self.litres / GALLON_LITRES

    @property
    def pounds(self) -> Decimal:
        return self.grams / POUND_GRAMS

    @property
    def kilograms(self) -> Decimal:
        return Decimal(self.grams) / 1000

    @property
    def uncertainty_pounds(self) -> Decimal:
        return self.uncertainty_grams / POUND_GRAMS

    @property
    def uncertainty_kilograms(self) -> Decimal:
        return Decimal(self.uncertainty_grams) / 1000


# Some rows that stand together, and the lines of a printed page: a group on the left and the right.
Group = list[ChartRow]
Page = list[tuple[Group, Group]]


def rows(
    shape: Vessel,
    *,
    step_mm: Decimal,
    moisture_percent: Decimal,
    celsius: Decimal,
    mark_mm: Decimal,
) -> list[ChartRow]:
    """Return a row for each step from the first above the bottom to the last below the brim.

    Steps below the first line of a calibration table are left out. `mark_mm` is the finest mark of
    the stick. Raises `ValueError`, in words for people, outside the density's range.
    """
    found = []
    half_mark = mark_mm / 2
    for depth_mm in _depths(shape, step_mm):
        litres = _litres(shape, depth_mm)
        if litres is None:
            continue
        beside = [_litres(shape, depth_mm - half_mark), _litres(shape, depth_mm + half_mark)]
        stick_litres = max(abs(other - litres) for other in beside if other is not None)
        weighed = density.grams_of(litres, moisture_percent=moisture_percent, celsius=celsius)
        stick = density.grams_of(stick_litres, moisture_percent=moisture_percent, celsius=celsius)
        found.append(
            ChartRow(depth_mm, litres, weighed.grams, weighed.uncertainty_grams + stick.grams)
        )
    return found


def grouped(found: Sequence[ChartRow], *, step_mm: Decimal, steps: int) -> list[Group]:
    """Return rows in groups that end at every `steps` steps of the stick, as at each whole inch."""

    def group(row: ChartRow) -> int:
        return (round(row.depth_mm / step_mm) - 1) // steps

    return [list(rows) for _number, rows in groupby(found, key=group)]


def side_by_side(groups: Sequence[Group], *, first_page: int, further_pages: int) -> Iterator[Page]:
    """Yield the groups of each printed page in two columns of so many groups."""
    start, lines = 0, first_page
    while start < len(groups):
        left = groups[start : start + lines]
        right = groups[start + lines : start + 2 * lines]
        yield list(zip_longest(left, right, fillvalue=[]))
        start, lines = start + 2 * lines, further_pages


def _depths(shape: Vessel, step_mm: Decimal) -> Iterator[Decimal]:
    height_mm = Decimal(str(round(shape.height_cm * 10, 3)))
    steps = int(height_mm / step_mm)
    yield from (step_mm * number for number in range(1, steps + 1))


def _litres(shape: Vessel, depth_mm: Decimal) -> Decimal | None:
    """Return the litres up to a depth, within the vessel; None below a calibration table."""
    depth_cm = min(max(float(depth_mm) / 10, 0.0), shape.height_cm)
    try:
        return Decimal(str(shape.volume_l(depth_cm))).quantize(Decimal("0.001"))
    except ValueError:
        return None

"""The geometry of a sheet or roll of labels: which label is where, and whether all is on the paper.

Millimetres. Labels are counted from 1, from left to right and then down.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.bottling.models.labels import LabelSheet
from inventory.shared import words
from inventory.shared.errors import Problems

PAPER_MM = {
    LabelSheet.Paper.LETTER: (Decimal("215.9"), Decimal("279.4")),
    LabelSheet.Paper.A4: (Decimal(210), Decimal(297)),
}
LABEL_MM_MIN, LABEL_MM_MAX = Decimal(10), Decimal(300)
LINES_MAX = 30
MARGIN_MM_MAX = Decimal(150)
GAP_MM_MAX = Decimal(100)
OFFSET_MM_MAX = Decimal(20)
# What label makers round away: four labels of 2 5/8 in are told as 66.7 mm.
SPARE_MM = Decimal("0.5")


@dataclass(frozen=True)
class Spot:
    """Where one label is: its page, counted from 0, and its upper left corner there."""

    page: int
    left_mm: Decimal
    top_mm: Decimal

    @property
    def style(self) -> str:
        return f"left:{self.left_mm}mm;top:{self.top_mm}mm"


@dataclass(frozen=True)
class SheetRun:
    """Pages alike: the spots used on one, and how often it is printed."""

    spots: list[Spot]
    copies: int


def page_size(sheet: LabelSheet) -> tuple[Decimal, Decimal]:
    """Return the width and height of a page; on a roll, what one row of labels takes."""
    if sheet.paper != LabelSheet.Paper.ROLL:
        return PAPER_MM[LabelSheet.Paper(sheet.paper)]
    return (
        2 * sheet.margin_left_mm + _extent(sheet.columns, sheet.label_width_mm, sheet.gap_x_mm),
        2 * sheet.margin_top_mm + _extent(sheet.rows, sheet.label_height_mm, sheet.gap_y_mm),
    )


def spot(sheet: LabelSheet, number: int) -> Spot:
    """Return where label `number` is, counted from 1 on the first sheet; offsets move it."""
    page, place = divmod(number - 1, sheet.per_page)
    row, column = divmod(place, sheet.columns)
    return Spot(
        page=page,
        left_mm=sheet.margin_left_mm
        + column * (sheet.label_width_mm + sheet.gap_x_mm)
        + sheet.offset_x_mm,
        top_mm=sheet.margin_top_mm
        + row * (sheet.label_height_mm + sheet.gap_y_mm)
        + sheet.offset_y_mm,
    )


def pages(sheet: LabelSheet, *, count: int, first: int = 1) -> list[SheetRun]:
    """Return the pages of `count` labels from position `first` of a begun sheet.

    Full sheets are alike, so they are one entry with the number of copies.
    """
    last = first + count - 1
    runs = []
    start = first
    while start <= last:
        page_end = -(-start // sheet.per_page) * sheet.per_page
        end = min(page_end, last)
        spots = [spot(sheet, number) for number in range(start, end + 1)]
        is_full = len(spots) == sheet.per_page
        copies = (last - start + 1) // sheet.per_page if is_full else 1
        runs.append(SheetRun(spots, copies))
        start = start + copies * sheet.per_page if is_full else end + 1
    return runs


def pages_needed(sheet: LabelSheet, *, count: int, first: int = 1) -> int:
    return -(-(first - 1 + count) // sheet.per_page)


def check(problems: Problems, sheet: LabelSheet) -> None:
    """Name each measure of a layout that can't be, or that does not fit on the paper."""
    figures = list(_figures_out_of_range(sheet))
    for parameter, low, high in figures:
        problems.add(
            parameter,
            _("Enter a figure from %(low)s to %(high)s.")
            % {"low": words.number(low), "high": words.number(high)},
        )
    if figures:
        return
    if sheet.corner_radius_mm * 2 > min(sheet.label_width_mm, sheet.label_height_mm):
        problems.add(
            "corner_radius_mm", _("Enter a radius of at most half the shorter side of the label.")
        )
    if sheet.paper == LabelSheet.Paper.ROLL:
        if sheet.rows != 1:
            problems.add("rows", _("A roll has one row of labels on a page. Enter 1."))
        return
    width_mm, height_mm = page_size(sheet)
    across = _extent(sheet.columns, sheet.label_width_mm, sheet.gap_x_mm)
    down = _extent(sheet.rows, sheet.label_height_mm, sheet.gap_y_mm)
    for needed, there, many, one, told in (
        (sheet.margin_left_mm + across, width_mm, "columns", "label_width_mm", _("wide")),
        (sheet.margin_top_mm + down, height_mm, "rows", "label_height_mm", _("high")),
    ):
        if needed > there + SPARE_MM:
            parameter = many if getattr(sheet, many) > 1 else one
            problems.add(
                parameter,
                _(
                    "With the margin and the gaps the labels need %(needed)s mm; the paper is "
                    "%(there)s mm %(told)s. Check the figures against the pack."
                )
                % {
                    "needed": words.number(round(needed, 1)),
                    "there": words.number(round(there, 1)),
                    "told": told,
                },
            )
    if problems:
        return
    for parameter, offset, margin, needed, there in (
        ("offset_x_mm", sheet.offset_x_mm, sheet.margin_left_mm, across, width_mm),
        ("offset_y_mm", sheet.offset_y_mm, sheet.margin_top_mm, down, height_mm),
    ):
        if margin + offset < 0 or margin + offset + needed > max(there, margin + needed):
            problems.add(
                parameter, _("This moves labels off the paper. Enter a smaller correction.")
            )


def _figures_out_of_range(sheet: LabelSheet) -> Iterator[tuple[str, Decimal | int, Decimal | int]]:
    ranges: tuple[tuple[str, Decimal | int, Decimal | int], ...] = (
        ("label_width_mm", LABEL_MM_MIN, LABEL_MM_MAX),
        ("label_height_mm", LABEL_MM_MIN, LABEL_MM_MAX),
        ("columns", 1, LINES_MAX),
        ("rows", 1, LINES_MAX),
        ("margin_left_mm", 0, MARGIN_MM_MAX),
        ("margin_top_mm", 0, MARGIN_MM_MAX),
        ("gap_x_mm", 0, GAP_MM_MAX),
        ("gap_y_mm", 0, GAP_MM_MAX),
        ("offset_x_mm", -OFFSET_MM_MAX, OFFSET_MM_MAX),
        ("offset_y_mm", -OFFSET_MM_MAX, OFFSET_MM_MAX),
        ("corner_radius_mm", 0, LABEL_MM_MAX),
    )
    for name, low, high in ranges:
        if not low <= getattr(sheet, name) <= high:
            yield name, low, high


def _extent(count: int, size_mm: Decimal, gap_mm: Decimal) -> Decimal:
    """Return how far labels reach with the gaps between them."""
    return count * size_mm + (count - 1) * gap_mm

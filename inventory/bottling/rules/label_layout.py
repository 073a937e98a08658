"""Where each line of a label goes, so that all of it fits at the heights the law wants.

Lines are measured with the label's own font, so what is told to fit is what is printed. Nothing is
ever cut off: where the words do not fit, a sentence names the field and the way out. Millimetres.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

from django.utils.translation import gettext as _

from inventory.bottling.rules.labels import (
    SHARE_OF_PANEL_FOR_NET_WEIGHT,
    LabelText,
    NetWeightType,
    tenths,
)
from inventory.shared import lettering, words
from inventory.shared.printed_codes import PrintedCode

EDGE_MM = 1.8
GUTTER_MM = 2.5
LINE_EM = 1.2
NET_WEIGHT_LINE_EM = 1.08
BETWEEN_MM = 0.4
ROUNDING_MM = 1e-6
BESIDE_SHARES = (0.56, 0.62, 0.5, 0.44)
# What may be on the left under the name or on the right, in this order; how many are on the left.
MOVABLE = ("sources", "origin", "caution", "house", "address", "lot", "best_by")
ON_THE_LEFT = (2, 3, 5, 4, 1)
# So much larger than the least are the words and the net weight, and the common name than the
# other words, as there is room.
TYPE_TIMES = ((1.8, 1.8), (1.5, 1.5), (1.25, 1.25), (1.25, 1.0), (1.0, 1.0))
TITLE_TIMES = (3.2, 2.4, 1.8, 1.4, 1.2)
NO_BREAK = "\u00a0"


@dataclass(frozen=True)
class PlacedLine:
    """One line of text: its box, measured from the upper left corner of the label."""

    name: str
    text: str
    left_mm: float
    top_mm: float
    width_mm: float
    size_mm: float
    line_mm: float
    bold: bool = False

    @property
    def style(self) -> str:
        weight = 700 if self.bold else 400
        return (
            f"left:{self.left_mm:.3f}mm;top:{self.top_mm:.3f}mm;font-size:{self.size_mm:.4f}mm;"
            f"line-height:{self.line_mm:.4f}mm;font-weight:{weight}"
        )


@dataclass(frozen=True)
class PlacedCode:
    """A code and the upper left corner of its white space."""

    code: PrintedCode
    left_mm: float
    top_mm: float

    @property
    def style(self) -> str:
        return f"left:{self.left_mm:.3f}mm;top:{self.top_mm:.3f}mm;width:{self.code.width_mm:.4f}mm"

    @property
    def text_style(self) -> str:
        return (
            f"font-size:{self.code.text_size_mm:.4f}mm;line-height:{self.code.text_line_mm:.4f}mm"
        )


@dataclass(frozen=True)
class LabelDrawing:
    """A label that fits: its lines, and its code if it has one."""

    lines: list[PlacedLine]
    code: PlacedCode | None


@dataclass(frozen=True)
class Misfit:
    """What does not fit, by the name of the field, and a sentence about it."""

    name: str
    message: str


@dataclass(frozen=True)
class Room:
    """A label to lay out: its size, what it says, and the least sizes of type."""

    width_mm: float
    height_mm: float
    texts: Sequence[LabelText]
    net_weight: NetWeightType
    small_mm: float
    in_the_lower_part: bool
    codes: Sequence[PrintedCode] = ()

    def enlarged(self, all_words: float, net_weight: float) -> "Room":
        """Return the same label with its words and its net weight so many times as large."""
        larger = replace(
            self.net_weight,
            least_mm=self.net_weight.least_mm * net_weight,
            size_mm=self.net_weight.size_mm * net_weight,
        )
        return replace(self, net_weight=larger, small_mm=self.small_mm * all_words)

    @property
    def inner_width_mm(self) -> float:
        return self.width_mm - 2 * EDGE_MM

    @property
    def inner_height_mm(self) -> float:
        return self.height_mm - 2 * EDGE_MM


@dataclass
class _Column:
    """Lines set below each other."""

    left_mm: float
    width_mm: float
    top_mm: float = EDGE_MM
    lines: list[PlacedLine] = field(default_factory=list)

    def add(self, text: LabelText, size_mm: float, *, bold: bool = False) -> None:
        told = text.text.replace(" %", f"{NO_BREAK}%")
        wrapped = lettering.wrap(told, width_mm=self.width_mm, size_mm=size_mm, bold=bold)
        if wrapped is None:
            raise _DoesNotFit(_too_wide(text))
        for line in wrapped:
            self.lines.append(
                PlacedLine(
                    text.name,
                    line,
                    self.left_mm,
                    self.top_mm,
                    self.width_mm,
                    size_mm,
                    size_mm * LINE_EM,
                    bold,
                )
            )
            self.top_mm += size_mm * LINE_EM
        self.top_mm += BETWEEN_MM


class _DoesNotFit(Exception):
    def __init__(self, misfit: Misfit) -> None:
        super().__init__(misfit.message)
        self.misfit = misfit


def lay_out(room: Room) -> LabelDrawing | Misfit:
    """Return where all goes, as large as there is room; or what does not fit, in words."""
    smallest = room.codes[-1] if room.codes else None
    if smallest and (
        smallest.width_mm > room.inner_width_mm or smallest.height_mm > room.inner_height_mm
    ):
        return _code_too_large(smallest)
    told: Misfit | None = None
    for code, times, title_times, beside in _ways(room):
        larger = room.enlarged(*times)
        try:
            if beside is None:
                return _stacked(larger, code, title_times)
            return _beside(larger, code, title_times, *beside)
        except _DoesNotFit as error:
            # Told is what is in the way at the least sizes, with the whole width of the label.
            if beside is None:
                told = error.misfit
    assert told is not None
    return told


def _ways(
    room: Room,
) -> Iterator[tuple[PrintedCode | None, tuple[float, float], float, tuple[float, int] | None]]:
    """Yield each way to set the label: code, sizes of type, and how two columns share it.

    A label that is not wide is first tried with everything below each other.
    """
    beside = list(product(BESIDE_SHARES, ON_THE_LEFT))
    is_wide = room.width_mm >= 1.3 * room.height_mm
    columns = [*beside, None] if is_wide else [None, *beside]
    yield from product(room.codes or (None,), TYPE_TIMES, TITLE_TIMES, columns)


def _beside(
    room: Room, code: PrintedCode | None, title_times: float, share: float, on_the_left: int
) -> LabelDrawing:
    """Set name and net weight on the left; the code, and what else there is, on the right."""
    left_mm = room.inner_width_mm * share
    right_mm = room.inner_width_mm - left_mm - GUTTER_MM
    if right_mm <= 0 or (code and code.width_mm > right_mm):
        raise _DoesNotFit(_too_high(room, room.texts))
    net = _net_weight(room, width_mm=left_mm + GUTTER_MM, is_beside=True)
    left = _Column(EDGE_MM, left_mm)
    right = _Column(EDGE_MM + left_mm + GUTTER_MM, right_mm)
    _fill(left, room, ("brand", "common_name", "variety", *MOVABLE[:on_the_left]), title_times)
    _fill(right, room, MOVABLE[on_the_left:], title_times)
    _check_height(room, left, net[0].top_mm - _clear_above(room))
    bottom_mm = room.height_mm - EDGE_MM
    placed = None
    if code:
        placed = PlacedCode(
            code, room.width_mm - EDGE_MM - code.width_mm, bottom_mm - code.height_mm
        )
    _check_height(room, right, placed.top_mm if placed else bottom_mm)
    return LabelDrawing([*left.lines, *right.lines, *net], placed)


def _stacked(room: Room, code: PrintedCode | None, title_times: float) -> LabelDrawing:
    """Set everything below each other, the code above the net weight."""
    if code and code.width_mm > room.inner_width_mm:
        raise _DoesNotFit(_code_too_large(code))
    net = _net_weight(room, width_mm=room.inner_width_mm)
    column = _Column(EDGE_MM, room.inner_width_mm)
    _fill(column, room, ("brand", "common_name", "variety", *MOVABLE), title_times)
    bottom_mm = net[0].top_mm - _clear_above(room)
    placed = None
    if code:
        left_mm = EDGE_MM + (room.inner_width_mm - code.width_mm) / 2
        placed = PlacedCode(code, left_mm, bottom_mm - code.height_mm)
    _check_height(room, column, placed.top_mm if placed else bottom_mm)
    return LabelDrawing([*column.lines, *net], placed)


def _fill(column: _Column, room: Room, names: Sequence[str], title_times: float) -> None:
    for name in names:
        for text in room.texts:
            if text.name != name:
                continue
            if name == "common_name":
                column.add(text, room.small_mm * title_times, bold=True)
            elif name == "variety":
                column.add(text, room.small_mm * max(1.0, title_times * 0.55))
            else:
                column.add(text, room.small_mm, bold=name == "house")


def _clear_above(room: Room) -> float:
    """Return the clear space above the net weight: as high as its letters (21 CFR 101.7(f))."""
    return room.net_weight.least_mm


def _net_weight(room: Room, *, width_mm: float, is_beside: bool = False) -> list[PlacedLine]:
    """Set the net weight at the foot of the label, clear of what is beside it.

    The space at the side is twice the width of its letter N (21 CFR 101.7(f), from memory).
    """
    text = next(text for text in room.texts if text.name == "net_weight")
    size_mm = room.net_weight.size_mm
    if is_beside:
        width_mm -= 2 * lettering.face(bold=True).width_em("N") * size_mm
    statement = held_together(text.text)
    # What is in brackets stays in one line where there is room.
    whole = re.sub(r"\(.*\)", lambda found: found[0].replace(" ", NO_BREAK), statement)
    lines = lettering.wrap(whole, width_mm=width_mm, size_mm=size_mm, bold=True) or lettering.wrap(
        statement, width_mm=width_mm, size_mm=size_mm, bold=True
    )
    if lines is None:
        raise _DoesNotFit(_net_weight_too_large(room))
    line_mm = size_mm * NET_WEIGHT_LINE_EM
    top_mm = room.height_mm - EDGE_MM - line_mm * len(lines)
    highest_mm = room.height_mm * (1 - SHARE_OF_PANEL_FOR_NET_WEIGHT)
    if room.in_the_lower_part and top_mm < highest_mm:
        raise _DoesNotFit(_net_weight_too_large(room))
    return [
        PlacedLine(
            text.name, line, EDGE_MM, top_mm + line_mm * number, width_mm, size_mm, line_mm, True
        )
        for number, line in enumerate(lines)
    ]


def held_together(statement: str) -> str:
    """Keep each figure of a net weight with its unit when it is set in several lines.

    >>> held_together("NET WT 24 OZ (1 LB 8 OZ) 680 g").split(" ")
    ['NET\\xa0WT', '24\\xa0OZ', '(1\\xa0LB', '8\\xa0OZ)', '680\\xa0g']
    """
    statement = statement.replace("NET WT", f"NET{NO_BREAK}WT")
    return re.sub(r"(?<=\d) (?=[A-Za-z])", NO_BREAK, statement)


def _check_height(room: Room, column: _Column, bottom_mm: float) -> None:
    if column.top_mm - BETWEEN_MM > bottom_mm + ROUNDING_MM:
        names = {line.name for line in column.lines}
        texts = [text for text in room.texts if text.name in names]
        raise _DoesNotFit(_too_high(room, texts))


def _too_wide(text: LabelText) -> Misfit:
    longest = max(text.text.split(), key=len)
    return Misfit(
        text.name,
        _(
            "%(title)s: “%(word)s” is wider than the label at the least height of letters. "
            "Choose a larger label or a shorter text."
        )
        % {"title": text.title, "word": longest},
    )


def _too_high(room: Room, texts: Sequence[LabelText]) -> Misfit:
    longest = max(texts, key=lambda text: len(text.text))
    told = (
        _(
            "%(title)s: with this code the text does not fit at the least height of letters. "
            "Choose a larger label, a shorter text, another code or none."
        )
        if room.codes
        else _(
            "%(title)s: the text does not fit at the least height of letters. "
            "Choose a larger label or a shorter text."
        )
    )
    return Misfit(longest.name, told % {"title": longest.title})


def _net_weight_too_large(room: Room) -> Misfit:
    text = next(text for text in room.texts if text.name == "net_weight")
    return Misfit(
        "net_weight",
        _(
            "%(title)s: “%(text)s” does not fit at the foot of the label, where its letters must "
            "be %(height)s mm high. Choose a larger label."
        )
        % {
            "title": text.title,
            "text": text.text,
            "height": words.number(tenths(room.net_weight.least_mm)),
        },
    )


def _code_too_large(code: PrintedCode) -> Misfit:
    return Misfit(
        "code",
        _(
            "The code is %(width)s mm wide and %(height)s mm high with the white space around it, "
            "at its least size. Choose a larger label, another code or none."
        )
        % {
            "width": words.number(round(code.width_mm + 0.5)),
            "height": words.number(round(code.height_mm + 0.5)),
        },
    )

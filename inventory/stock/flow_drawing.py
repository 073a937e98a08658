"""The drawing of "Where every pound went": where its bars, ribbons and words go.

Honey flows from left to right: what came in, as honey in bulk or in jars and comb, to where it is
or how it left. All of a drawing is in units of one width; geometry is drawn, not kept: floats do.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

WIDTH = 1120
NODE_WIDTH = 12
# Left edge of the bars of each column; words are left of the first and right of the last.
COLUMNS_X = (314.0, 535.0, 720.0)
FLOW_HEIGHT = 360.0
ROW_HEIGHT = 24.0
GAP = 10.0
TOP = 34.0
LEAST = 1.5
# As many kinds of honey have a colour of their own.
SERIES_MAX = 6


@dataclass(frozen=True)
class Ribbon:
    """Honey on its way between two bars, in grams; `series` is its colour, 0 for honey's own."""

    source: str
    target: str
    grams: int
    series: int = 0


@dataclass(frozen=True)
class Node:
    """A bar with its words; `key` is what ribbons call it."""

    key: str
    label: str
    words: str
    url: str = ""
    series: int = 0


@dataclass(frozen=True)
class DrawnRibbon:
    path: str
    series: int


@dataclass
class DrawnNode:
    """A bar in its place, with the ribbons that end in it."""

    node: Node
    x: float
    y: float
    height: float
    words_x: float
    words_y: float
    anchor: str
    ribbons: list[DrawnRibbon] = field(default_factory=list)


@dataclass(frozen=True)
class Drawing:
    nodes: list[DrawnNode]
    height: float
    width: int = WIDTH
    node_width: int = NODE_WIDTH
    # Where the heads of the first and the last column end and begin.
    first_head_x: float = COLUMNS_X[0] + NODE_WIDTH
    last_head_x: float = COLUMNS_X[2]


def draw(columns: Sequence[Sequence[Node]], ribbons: Sequence[Ribbon]) -> Drawing | None:
    """Return the drawing of three columns; None where nothing flows.

    Bars are as high as what flows through them; ribbons leave and arrive in the order of the bars.
    """
    ribbons = [ribbon for ribbon in ribbons if ribbon.grams > 0]
    whole = sum(_sums(columns[1], ribbons).values())
    if not whole:
        return None
    scale = FLOW_HEIGHT / whole
    drawn: dict[str, DrawnNode] = {}
    height = 0.0
    for number, column in enumerate(columns):
        sums = _sums(column, ribbons)
        y = TOP
        for node in column:
            if not sums[node.key]:
                continue
            bar = max(LEAST, sums[node.key] * scale)
            # A bar lower than its words is in the middle of their row.
            row = bar if number == 1 else max(bar, ROW_HEIGHT)
            at = y + (row - bar) / 2
            drawn[node.key] = _placed(node, number, at, bar)
            y += row + (2 * ROW_HEIGHT if number == 1 else GAP)
        height = max(height, y)
    _join(columns, ribbons, drawn, scale)
    # The words of the middle are drawn last, above the ribbons on both sides.
    keys = [node.key for at in (0, 2, 1) for node in columns[at] if node.key in drawn]
    return Drawing([drawn[key] for key in keys], round(height, 1))


def _sums(column: Sequence[Node], ribbons: Sequence[Ribbon]) -> dict[str, int]:
    """Return what flows through each bar: the more of what comes and what goes."""
    return {
        node.key: max(
            sum(ribbon.grams for ribbon in ribbons if ribbon.source == node.key),
            sum(ribbon.grams for ribbon in ribbons if ribbon.target == node.key),
        )
        for node in column
    }


def _placed(node: Node, number: int, y: float, height: float) -> DrawnNode:
    x = COLUMNS_X[number]
    words = [
        (x - 8, y + height / 2 + 5, "end"),
        (x + NODE_WIDTH / 2, y - 8, "middle"),
        (x + NODE_WIDTH + 8, y + height / 2 + 5, "start"),
    ]
    words_x, words_y, anchor = words[number]
    return DrawnNode(node, x, round(y, 1), round(height, 1), words_x, round(words_y, 1), anchor)


def _join(
    columns: Sequence[Sequence[Node]],
    ribbons: Sequence[Ribbon],
    drawn: dict[str, DrawnNode],
    scale: float,
) -> None:
    order = {node.key: at for at, node in enumerate(node for column in columns for node in column)}
    leaves_at = {key: node.y for key, node in drawn.items()}
    starts: dict[int, float] = {}
    for at, ribbon in sorted(
        enumerate(ribbons), key=lambda one: (order[one[1].source], order[one[1].target])
    ):
        starts[at] = leaves_at[ribbon.source]
        leaves_at[ribbon.source] += ribbon.grams * scale
    arrives_at = {key: node.y for key, node in drawn.items()}
    for at, ribbon in sorted(
        enumerate(ribbons), key=lambda one: (order[one[1].target], order[one[1].source])
    ):
        source, target = drawn[ribbon.source], drawn[ribbon.target]
        thick = max(LEAST, ribbon.grams * scale)
        end = arrives_at[ribbon.target]
        arrives_at[ribbon.target] += ribbon.grams * scale
        # A thin ribbon still shows, and ends in its bar.
        path = _path(source.x + NODE_WIDTH, starts[at], target.x, end, thick)
        target.ribbons.append(DrawnRibbon(path, ribbon.series))


def _path(x1: float, y1: float, x2: float, y2: float, thick: float) -> str:
    middle = (x1 + x2) / 2
    return (
        f"M{x1:.1f} {y1:.1f}C{middle:.1f} {y1:.1f} {middle:.1f} {y2:.1f} {x2:.1f} {y2:.1f}"
        f"V{y2 + thick:.1f}C{middle:.1f} {y2 + thick:.1f} {middle:.1f} {y1 + thick:.1f} "
        f"{x1:.1f} {y1 + thick:.1f}Z"
    )

"""Where the parts of a chart lie; the templates draw them.

Lengths are percent of the width, so that a chart fills a phone and a desk alike while its words
keep their size. Heights are pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from apiary_sales.pricing.queries.comparison import Comparison
from apiary_sales.pricing.queries.costs import Channel, FilledCost, JarNetBack
from inventory.money import cents_half_up
from inventory.physics.units import POUND_GRAMS

ROW_HEIGHT = 48
# Room above the rows for the word at the drum line.
HEAD_HEIGHT = 28
# The longest bar leaves room for its mark.
LONGEST = Decimal(96)

# Each channel has a colour and a mark of its own: see the style sheet and `_ladder.html`.
CHANNEL_SERIES = {
    Channel.STAND: 1,
    Channel.SHOP: 2,
    Channel.DELIVERY: 3,
    Channel.DISTRIBUTOR: 4,
}
# What a filled jar is made of, from the bottom of the bar up.
COST_GROUPS = (
    ("honey", ("honey",)),
    ("lost", ("overfill", "loss", "broken")),
    ("parts", ("part", "case")),
    ("labour", ("labour",)),
)


@dataclass(frozen=True)
class Bar:
    """One rung of the ladder."""

    net_back: JarNetBack
    series: int
    y: int
    start: Decimal
    length: Decimal
    end: Decimal


@dataclass(frozen=True)
class Ladder:
    """Bars from the worst to the best, with the drum as a line across them."""

    bars: tuple[Bar, ...]
    height: int
    zero: Decimal
    drum: Decimal | None
    drum_is_right: bool


@dataclass(frozen=True)
class Segment:
    """One part of a cost bar."""

    name: str
    series: int
    start: Decimal
    length: Decimal
    per_pound_cents: int


@dataclass(frozen=True)
class CostBar:
    """The cost of one filled size, a pound on the label, in its parts.

    The parts add up to the whole in cents: each is the difference of two rounded running totals.
    """

    cost: FilledCost
    y: int
    segments: tuple[Segment, ...]
    per_pound: Decimal

    @property
    def per_pound_cents(self) -> int:
        return cents_half_up(self.per_pound)


@dataclass(frozen=True)
class CostBars:
    bars: tuple[CostBar, ...]
    height: int


def ladder(comparison: Comparison) -> Ladder | None:
    """Lay out the ladder, or None when no rung has a known figure."""
    known = comparison.known
    if not known:
        return None
    figures = [rung.net_back.per_pound for rung in known]
    drum = comparison.drum.per_pound if comparison.drum else None
    reach = [*figures, Decimal(0), *([] if drum is None else [drum])]
    low, high = min(reach), max(reach)
    scale = LONGEST / (high - low) if high > low else Decimal(0)
    zero = -low * scale
    bars = []
    for index, rung in enumerate(known):
        end = zero + rung.net_back.per_pound * scale
        bars.append(
            Bar(
                rung.net_back,
                CHANNEL_SERIES[Channel(rung.net_back.channel)],
                HEAD_HEIGHT + index * ROW_HEIGHT,
                _place(min(zero, end)),
                _place(abs(end - zero)),
                _place(end),
            )
        )
    at = None if drum is None else _place(zero + drum * scale)
    return Ladder(
        tuple(bars),
        HEAD_HEIGHT + len(bars) * ROW_HEIGHT,
        _place(zero),
        at,
        at is not None and at > 60,
    )


def cost_bars(costs: Sequence[FilledCost]) -> CostBars | None:
    """Lay out the cost of a pound in each size whose figures are all entered, or None without."""
    known = [cost for cost in costs if cost.total is not None]
    if not known:
        return None
    longest = max(_a_pound(cost, cost.total) for cost in known)
    scale = LONGEST / longest if longest else Decimal(0)
    bars = []
    for index, cost in enumerate(known):
        segments, start, running, told = [], Decimal(0), Decimal(0), 0
        for series, (name, kinds) in enumerate(COST_GROUPS, start=1):
            per_pound = _a_pound(cost, cost.of(*kinds))
            # Jars short of their label can make overfill negative: nothing to draw then.
            length = max(per_pound, Decimal(0)) * scale
            running += cost.of(*kinds)
            upto = cents_half_up(_a_pound(cost, running))
            segments.append(Segment(name, series, _place(start), _place(length), upto - told))
            start, told = start + length, upto
        bars.append(CostBar(cost, index * ROW_HEIGHT, tuple(segments), _a_pound(cost, cost.total)))
    return CostBars(tuple(bars), len(bars) * ROW_HEIGHT)


def _a_pound(cost: FilledCost, each: Decimal) -> Decimal:
    return (each / cost.container.declared_grams * POUND_GRAMS).quantize(Decimal("0.0001"))


def _place(percent: Decimal) -> Decimal:
    return Decimal(percent).quantize(Decimal("0.01"))

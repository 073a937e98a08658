"""Where the parts of a chart are; the templates draw them.

Lengths are percent of the width, so that a chart fills a phone and a desk alike while its words
keep their product. Heights are pixels.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.pricing.queries.comparison import Comparison
from apiary_sales.pricing.rules.costs import Channel, FilledCost, JarNetBack
from inventory.shared.money import cents_half_up
from inventory.shared.weights import unit_grams

ROW_HEIGHT = 48
RUNG_HEIGHT = 40
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
    (_("honey on the label"), ("honey",)),
    (_("overfill, loss, broken"), ("overfill", "loss", "broken")),
    (_("jar, lid, label, case"), ("part", "case")),
    (_("labour"), ("labour",)),
)


@dataclass(frozen=True)
class LadderBar:
    """One rung of the ladder."""

    net_back: JarNetBack
    series: int
    y: int
    start: Decimal
    length: Decimal
    end: Decimal


@dataclass(frozen=True)
class Ladder:
    """Bars from the best to the worst, as in the table, with the drum as a line across them."""

    bars: tuple[LadderBar, ...]
    height: int
    zero: Decimal
    drum: Decimal | None
    drum_is_right: bool


@dataclass(frozen=True)
class Segment:
    """One part of a cost bar."""

    label: str | Promise
    series: int
    start: Decimal
    length: Decimal
    cents: int


@dataclass(frozen=True)
class CostBar:
    """The cost of one filled piece in its parts, which add up to it in cents.

    Each part is the difference of two rounded running totals. The bars of all products have the
    same length, because the parts of a cheap jar would be invisible next to those of a pail.
    """

    cost: FilledCost
    total: Decimal
    y: int
    segments: tuple[Segment, ...]

    @property
    def cents(self) -> int:
        return cents_half_up(self.total)

    @property
    def per_pound_cents(self) -> int:
        """The cost of so much as is a pound on the label."""
        pound = self.total / self.cost.product.declared_grams * unit_grams()
        return cents_half_up(pound.quantize(Decimal("0.0001")))


@dataclass(frozen=True)
class CostBars:
    bars: tuple[CostBar, ...]
    height: int


def ladder(comparison: Comparison) -> Ladder | None:
    """Lay out the ladder, or None when no rung has a known figure."""
    known = [
        (rung.net_back, rung.net_back.per_pound)
        for rung in comparison.sorted_by("per_pound", downward=True)
        if rung.net_back.per_pound is not None
    ]
    if not known:
        return None
    figures = [per_pound for _net_back, per_pound in known]
    drum = comparison.drum.per_pound if comparison.drum else None
    reach = [*figures, Decimal(0), *([] if drum is None else [drum])]
    low, high = min(reach), max(reach)
    scale = LONGEST / (high - low) if high > low else Decimal(0)
    zero = -low * scale
    bars = []
    for index, (net_back, per_pound) in enumerate(known):
        end = zero + per_pound * scale
        bars.append(
            LadderBar(
                net_back,
                CHANNEL_SERIES[Channel(net_back.channel)],
                HEAD_HEIGHT + index * RUNG_HEIGHT,
                _place(min(zero, end)),
                _place(abs(end - zero)),
                _place(end),
            )
        )
    at = None if drum is None else _place(zero + drum * scale)
    return Ladder(
        tuple(bars),
        HEAD_HEIGHT + len(bars) * RUNG_HEIGHT,
        _place(zero),
        at,
        at is not None and at > 60,
    )


def cost_bars(costs: Sequence[FilledCost]) -> CostBars | None:
    """Lay out the cost of a piece of each product with all its figures entered, or None without."""
    known = [(cost, cost.total) for cost in costs if cost.total is not None]
    if not known:
        return None
    bars = []
    for index, (cost, total) in enumerate(known):
        groups = [(label, cost.of(*kinds) or Decimal(0)) for label, kinds in COST_GROUPS]
        # Jars short of their label can make overfill negative: nothing to draw then.
        drawn = [max(amount, Decimal(0)) for _label, amount in groups]
        scale = 100 / sum(drawn, Decimal(0)) if any(drawn) else Decimal(0)
        segments, start, running, told = [], Decimal(0), Decimal(0), 0
        for series, (label, amount) in enumerate(groups, start=1):
            length = drawn[series - 1] * scale
            running += amount
            upto = cents_half_up(running)
            segments.append(Segment(label, series, _place(start), _place(length), upto - told))
            start, told = start + length, upto
        bars.append(CostBar(cost, total, index * ROW_HEIGHT, tuple(segments)))
    return CostBars(tuple(bars), len(bars) * ROW_HEIGHT)


def _place(percent: Decimal) -> Decimal:
    return Decimal(percent).quantize(Decimal("0.01"))

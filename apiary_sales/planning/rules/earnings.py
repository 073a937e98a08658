"""What filling a product for a channel earns over the drum: by piece, weight, hour and tank-week.

A piece earns what is left of its price for the honey (see `pricing.rules.costs`), less what the
honey drawn for it would bring in drums. So the wages are paid already in what an hour earns, and
zero means: as good as the drum. A tank-week is a fixed weight of honey in a tank for one week.
Definitions are ours; to rank by what a limit earns for each unit of it is common practice.

What is not known is None and gets no rank: never zero.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from django.db.models import TextChoices
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.planning.rules.books import Offer
from apiary_sales.pricing.rules.costs import DrumNetBack, JarNetBack
from inventory.bottling.models import UsedPart
from inventory.shared import conventions
from inventory.shared.money import FOUR_PLACES
from inventory.shared.weights import by_unit, unit_grams

HOUR = 60
# What is in a tank for a tank-week.
TANK_POUNDS, TANK_KILOGRAMS = Decimal(1000), Decimal(500)


class Measure(TextChoices):
    """By what earnings are ranked."""

    POUND = "pound", by_unit(gettext_lazy("A {unit} of honey earns"))
    HOUR = "hour", gettext_lazy("An hour of work earns")
    TANK_WEEK = "tank_week", gettext_lazy("A tank-week earns")
    PIECE = "piece", gettext_lazy("A piece earns")


@dataclass(frozen=True)
class Earning:
    """One product in one channel beside the drum.

    `drum` is what the honey that may be filled as it brings in drums at best, and `least_drum` at
    least, None where that is not known. `weeks_in_tank` is how long the honey of its runs was in a
    tank.
    """

    offer: Offer
    net_back: JarNetBack
    drum: DrumNetBack | None
    least_drum: DrumNetBack | None
    weeks_in_tank: Decimal | None
    uses: tuple[UsedPart, ...] = ()

    @property
    def key(self) -> str:
        return self.offer.key

    @property
    def drum_price_to_stop(self) -> Decimal | None:
        """The lowest drum price at which the jar brings no more, rounded up to a cent."""
        if self.net_back.per_pound is None or self.drum is None:
            return None
        return self.drum.price_that_brings(self.net_back.per_pound)

    @property
    def is_worth_filling(self) -> bool:
        """Whether it brings more than its honey in drums, at least the honey nobody pays much for.

        False where that is not known.
        """
        per_pound = self.net_back.per_pound
        if per_pound is None or self.least_drum is None:
            return False
        return per_pound > self.least_drum.per_pound

    @property
    def missing(self) -> list[str]:
        """Name what is not entered, so that it can't be said what an hour of it earns."""
        missing = [
            line.label
            for line in self.net_back.lines
            if line.each is None and line.kind != "labour"
        ]
        return missing if self.net_back.fill.minutes else [*missing, _("minutes of work")]

    def by(self, measure: str) -> Decimal | None:
        """Return what it earns by one measure, to four places; None where that is not known."""
        if self.net_back.left is None or self.drum is None:
            return None
        fill = self.net_back.fill
        each = self.net_back.left - self.drum.per_pound * fill.drawn_pounds
        match Measure(measure):
            case Measure.POUND:
                return _divided(each, fill.drawn_pounds)
            case Measure.HOUR:
                return _divided(each * HOUR, fill.minutes)
            case Measure.TANK_WEEK:
                return _divided(each, self.tank_weeks)
        return each.quantize(FOUR_PLACES)

    @property
    def tank_weeks(self) -> Decimal | None:
        """How many tank-weeks the honey of one piece takes."""
        if self.weeks_in_tank is None:
            return None
        return self.net_back.fill.drawn_grams * self.weeks_in_tank / tank_week_grams()


@dataclass(frozen=True)
class RankedEarning:
    """What a row earns by each measure, and its place among those that are known."""

    earning: Earning
    ranks: Mapping[str, int | None]


def ranked(earnings: Sequence[Earning]) -> list[RankedEarning]:
    """Give each row its rank by every measure, 1 for what earns most; equal earnings share one."""
    places = {measure: _ranks(earnings, measure) for measure in Measure}
    return [
        RankedEarning(earning, MappingProxyType({m: places[m].get(earning.key) for m in places}))
        for earning in earnings
    ]


def in_order(rows: Sequence[RankedEarning], measure: str) -> list[RankedEarning]:
    """Return the rows from the best by a measure to the worst, then those without a figure."""
    unknown = len(rows) + 1
    return sorted(rows, key=lambda row: row.ranks[measure] or unknown)


def tank_week_grams() -> Decimal:
    """Return the grams that are in a tank for a tank-week."""
    in_house = TANK_KILOGRAMS if conventions.current().is_metric else TANK_POUNDS
    return in_house * unit_grams()


def _ranks(earnings: Sequence[Earning], measure: str) -> dict[str, int]:
    known = {
        earning.key: figure for earning in earnings if (figure := earning.by(measure)) is not None
    }
    figures: Callable[[Decimal], int] = sorted(known.values(), reverse=True).index
    return {key: figures(figure) + 1 for key, figure in known.items()}


def _divided(earned: Decimal, by: Decimal | None) -> Decimal | None:
    return (earned / by).quantize(FOUR_PLACES) if by else None

"""How long stock lasts when the coming weeks sell as they did a year ago.

The same weeks are those 52 weeks before, so that days of the week fall together; a holiday may be
a day off. Each week is sold evenly over its seven days, so that one large order of last year does
not decide a day. Definitions are ours.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

WEEKS = 52
YEAR = timedelta(weeks=WEEKS)
LEVEL = timedelta(weeks=13)
# From fewer no level and no season is told: a handful of sales is chance.
PIECES_MIN = 20
GRAMS_MIN = 10_000


@dataclass(frozen=True)
class SeasonSales:
    """What went in the coming 52 weeks as they were a year ago, week by week, and at what level.

    `level` is the last 13 weeks over the same weeks a year before. It is None where either had too
    few sales, or sales did not reach back so far; then the weeks count as they were.
    """

    weeks: tuple[int, ...]
    level: Fraction | None

    @property
    def level_percent(self) -> int | None:
        return None if self.level is None else round(self.level * 100)

    def days_of(self, free: int) -> int | None:
        """Return the whole days that so much lasts; None when it lasts all 52 weeks."""
        left = Fraction(max(free, 0)) / (1 if self.level is None else self.level)
        for week, sold in enumerate(self.weeks):
            if sold > left:
                return week * 7 + int(left * 7 / sold)
            left -= sold
        return None


def first_day_read(on: date) -> date:
    """Return the first day whose sales `season_of` takes into account."""
    return on - YEAR - LEVEL + timedelta(days=1)


def season_of(
    sold: Mapping[date, int], first_sale: date | None, *, on: date, least: int
) -> SeasonSales | None:
    """Return the season of what went on each day up to `on`; None where it is not known.

    It is not known when the first sale came later than a year ago, or when fewer than `least`
    went in these 52 weeks.
    """

    def between(first: date, last: date) -> int:
        return sum(much for day, much in sold.items() if first <= day <= last)

    if first_sale is None or first_sale > on - YEAR:
        return None
    weeks = [0] * WEEKS
    begin = on - YEAR + timedelta(days=1)
    for day, much in sold.items():
        if begin <= day <= on:
            weeks[(day - begin).days // 7] += much
    if sum(weeks) < least:
        return None
    level_begin = on - LEVEL + timedelta(days=1)
    lately = between(level_begin, on)
    before = between(level_begin - YEAR, on - YEAR)
    is_known = first_sale <= level_begin - YEAR and min(lately, before) >= least
    return SeasonSales(tuple(weeks), Fraction(lately, before) if is_known else None)

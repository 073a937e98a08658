"""Which years the seasons of the demo are of, and what is done on which day of them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import IntEnum

from apiary_sales.web.demo.fixtures import STORY_DAYS

SEASONS = 3
FIRST_MONTH, HARVEST_MONTH = 3, 7


class Turn(IntEnum):
    """What comes first on a day on which much is done."""

    SPENT = 1
    EXTRACTED = 2
    COSTED = 3
    BOTTLED = 4
    MADE = 5
    COUNTED = 6
    CARRIED = 7
    ORDERED = 8
    CREDITED = 9
    SOLD = 10
    PAID = 11
    CLOSED = 12


@dataclass(frozen=True)
class DatedAct:
    """Something done on a day: in words to be counted, and what it takes off the shelves."""

    day: date
    turn: Turn
    name: str
    counted_as: str
    do: Callable[[], object]
    takes: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class SeasonYears:
    """The three seasons of the demo; the last one is that of the story, whatever day it is."""

    today: date

    @property
    def last(self) -> int:
        return (self.today - timedelta(days=STORY_DAYS)).year

    @property
    def first(self) -> int:
        return self.last - SEASONS + 1

    def day(self, ago: int, on: str) -> date:
        """Return the day "07-08" of the season so many seasons ago."""
        month, day = map(int, on.split("-"))
        return date(self.last - ago, month, day)

    def season_of(self, day: date) -> int:
        """Return the season in which a day is: one lasts from a harvest to the next."""
        season = day.year if day.month >= HARVEST_MONTH else day.year - 1
        return min(max(season, self.first), self.last)

    def figure(self, figures: list, day: date):
        """Return what of three figures, one a season, holds on a day."""
        return figures[self.season_of(day) - self.first]

    def months(self) -> Iterator[date]:
        """Yield the first day of each month that can be told of, past today as well."""
        month = date(self.first, FIRST_MONTH, 1)
        while month < date(self.last + 1, HARVEST_MONTH, 1):
            yield month
            month = (month + timedelta(days=31)).replace(day=1)


def weekend_days(month: date, after: int) -> list[date]:
    """Return the Saturdays and Sundays of a month after a day of it."""
    days = (month + timedelta(days=number) for number in range(after, 31))
    return [day for day in days if day.month == month.month and day.weekday() >= 5]

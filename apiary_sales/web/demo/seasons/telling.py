"""Tell the seasons in the order of their days, each part of them whole or not at all."""

from collections import Counter
from collections.abc import Callable, Iterable
from datetime import date, timedelta

from django.db import transaction

from apiary_sales.billing.models import Expense
from apiary_sales.orders.models import Order
from apiary_sales.web.demo.fixtures import Say, key, read
from apiary_sales.web.demo.seasons import harvest, money
from apiary_sales.web.demo.seasons.bottling import Bottling
from apiary_sales.web.demo.seasons.selling import SalesOfSeasons
from apiary_sales.web.demo.seasons.things import Things
from apiary_sales.web.demo.seasons.timeline import DatedAct, Turn
from inventory.bottling.models import BottlingRun

Told = tuple[date, Callable[[], None]]


class Seasons:
    """What the seasons' files come to, told up to one day after another."""

    def __init__(self, today: date, say: Say, *, is_short: bool = False) -> None:
        self.today, self.say = today, say
        things = Things(today)
        self._years = things.years
        rows = read("seasons")
        selling = SalesOfSeasons(
            read("seasons_selling"), things, _first_days(rows, things), _gift_months(rows, things)
        )
        sold = list(selling.acts())
        acts = [
            *harvest.acts(rows, things),
            *Bottling(rows, things, sold).acts(),
            *sold,
            *money.acts(read("seasons_money"), things),
        ]
        told = [] if is_short else [act for act in acts if act.day < today]
        self._acts = sorted(told, key=lambda act: (act.day, act.turn))

    def tell(self, *, until_days_ago: int, beside: Iterable[Told] = ()) -> None:
        """Do what was done up to a day and was not told yet, with what was done beside it."""
        until = self.today - timedelta(days=until_days_ago)
        now = [act for act in self._acts if act.day <= until]
        self._acts = [act for act in self._acts if act.day > until]
        beside = sorted(beside, key=lambda told: told[0])
        for season in range(self._years.first, self._years.last + 1):
            part = [act for act in now if self._years.season_of(act.day) == season]
            beside_it = [told for told in beside if self._years.season_of(told[0]) == season]
            self._tell_season(season, part, beside_it)

    def _tell_season(self, season: int, acts: list[DatedAct], beside: Iterable[Told]) -> None:
        if not acts:
            for _day, do in beside:
                do()
            return
        if _was_told(acts):
            self.say(f"  was there: season {season}, {_days(acts)}")
            for _day, do in beside:
                do()
            return
        waiting = list(beside)
        with transaction.atomic():
            for act in acts:
                while waiting and waiting[0][0] < act.day:
                    waiting.pop(0)[1]()
                act.do()
            for _day, do in waiting:
                do()
        done = Counter(act.counted_as for act in acts if act.counted_as)
        told = ", ".join(f"{number} {what}" for what, number in done.items())
        self.say(f"  season {season}, {_days(acts)}: {told}")


def _was_told(acts: list[DatedAct]) -> bool:
    # What is paid or credited later bears the name of what was bought.
    names = [key(act.name) for act in acts if act.turn in (Turn.SPENT, Turn.BOTTLED, Turn.ORDERED)]
    return any(
        model.objects.filter(idempotency_key__in=names).exists()
        for model in (Expense, BottlingRun, Order)
    )


def _days(acts: list[DatedAct]) -> str:
    return f"{acts[0].day:%b %Y} to {acts[-1].day:%b %Y}"


def _first_days(rows: dict, things: Things) -> dict[str, date]:
    """Return from when on there is what is not always there: the month after it is first made."""
    made: dict[str, date] = {}
    for row in sorted([*rows["variety_runs"], *rows["candles"], *rows["comb"]], key=_on(things)):
        for code in row.get("runs", [row.get("product")]):
            made.setdefault(code, _on(things)(row))
    return {
        code: (day.replace(day=1) + timedelta(days=31)).replace(day=1) for code, day in made.items()
    }


def _on(things: Things) -> Callable[[dict], date]:
    return lambda row: things.years.day(row["ago"], row["on"])


def _gift_months(rows: dict, things: Things) -> set[date]:
    """Return the Decembers for which gift boxes are put together."""
    return {date(things.years.last - row["ago"], 12, 1) for row in rows["gift_boxes"]}

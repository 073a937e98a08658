"""The warming log, and what it means for lots: which were warmed, and what was made of them.

Nobody names the lots of a warming. They are read from the ledger: whatever had honey in the vessel
at any moment of those days. So an entry that comes late, is corrected or undone moves the warming
to the lots that it belongs to.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from inventory.physics import units
from inventory.stock.models import Item, Lot, LotParent, Measurement, PostingLine, Warming
from inventory.stock.models.lots import LotKeys

# What heat changes, as a laboratory measures it.
HEAT_FIGURES = (Measurement.What.HMF, Measurement.What.DIASTASE)


@dataclass(frozen=True)
class WarmingRow:
    """A warming with the lots that were in the vessel, and what laboratories measured of them."""

    warming: Warming
    lots: list[Lot] = field(default_factory=list)
    figures: list[Measurement] = field(default_factory=list)


@dataclass(frozen=True)
class LotWarmth:
    """What a lot went through: warmings of it and of what it was made of.

    `figures` are HMF and diastase, by laboratories, of the lot and of what it was made of.
    """

    rows: list[WarmingRow]
    figures: list[Measurement]

    @property
    def above_limit(self) -> list[WarmingRow]:
        return [row for row in self.rows if row.warming.is_above_limit]

    def __bool__(self) -> bool:
        return bool(self.rows)


@dataclass(frozen=True)
class _Stay:
    """A lot in a vessel from one moment to another; None while it is still there."""

    lot_id: int
    since: datetime
    until: datetime | None


def log(since: date, until: date) -> QuerySet[Warming]:
    """Return the warmings that touch these days, the latest first; removed ones too."""
    return (
        Warming.objects.filter(started_on__lte=until, ended_on__gte=since)
        .select_related("place", "recorded_by", "removed_by")
        .order_by("-started_on", "-id")
    )


def rows(found: Iterable[Warming]) -> list[WarmingRow]:
    """Return warmings with their lots and the figures of those, in a constant number of queries."""
    found = list(found)
    warmed = _lots_warmed(found)
    lots = Lot.objects.in_bulk({key for keys in warmed.values() for key in keys})
    figures = _figures(lots)
    return [
        WarmingRow(
            warming,
            [lots[key] for key in warmed[warming.pk]],
            [each for each in figures if each.lot_id in warmed[warming.pk]],
        )
        for warming in found
    ]


def of_lot(lot: Lot, *, family: LotKeys | None = None) -> LotWarmth:
    """Return the warmings of a lot, and of the lots it was made of, the earliest first.

    Honey that had left a lot before the warming began was not warmed: a lot that was made of it
    earlier is left out. Within a lot no vessel is told from another: where a part of it was warmed,
    all of it counts as warmed. `family` are the keys of the lot and of all that went into it, where
    they were read already.
    """
    if family is None:
        family = Lot.objects.source_keys([lot.pk])
    of_honey = LotParent.objects.filter(lot__in=family, grams__gt=0).order_by()
    left_on: dict[int, date] = dict(of_honey.values_list("parent").annotate(Max("lot__made_on")))
    places = _lines(Q(lot__in=family)).values("place")
    found = list(
        Warming.objects.standing()
        .filter(place__in=places)
        .select_related("place", "recorded_by")
        .order_by("started_on", "id")
    )
    warmed = _lots_warmed(found, Q(lot__in=family))
    told = {
        warming.pk: [
            key
            for key in warmed[warming.pk]
            if key == lot.pk or left_on.get(key, date.min) >= warming.started_on
        ]
        for warming in found
    }
    lots = Lot.objects.select_related("product").in_bulk(
        {key for keys in told.values() for key in keys}
    )
    return LotWarmth(
        rows=[
            WarmingRow(warming, [lots[key] for key in told[warming.pk]])
            for warming in found
            if told[warming.pk]
        ],
        figures=_figures(family),
    )


def table(made: Sequence[WarmingRow]) -> Iterator[list[Any]]:
    """Yield the rows of the log for a spreadsheet, headings first."""
    yield [
        _("Vessel"),
        _("From"),
        pgettext("day", "To"),
        _("Hours"),
        _("Highest temperature, °F"),
        _("Highest temperature, °C"),
        _("Limit, °C"),
        _("Above the limit"),
        _("Lots"),
        _("HMF and diastase"),
        _("Warmed by"),
        _("Note"),
        _("Recorded by"),
        _("Removed on"),
        _("Removed by"),
    ]
    for row in made:
        warming = row.warming
        celsius = warming.highest_celsius
        yield [
            warming.place.name,
            warming.started_on,
            warming.ended_on,
            warming.hours,
            None if celsius is None else round(units.fahrenheit(celsius)),
            celsius,
            warming.limit_celsius,
            _("yes") if warming.is_above_limit else _("no") if celsius is not None else "",
            ", ".join(lot.code for lot in row.lots),
            "; ".join(f"{each.lot.code}: {each}" for each in row.figures),
            warming.warmed_by,
            warming.note,
            warming.recorded_by.display_name,
            timezone.localdate(warming.removed_at) if warming.removed_at else None,
            warming.removed_by.display_name if warming.removed_by else "",
        ]


def _figures(lots: LotKeys) -> list[Measurement]:
    """Return what laboratories measured of these lots that heat changes, by lot and day."""
    return list(
        Measurement.objects.filter(
            lot__in=lots, what__in=HEAT_FIGURES, is_laboratory=True, removed_at=None
        )
        .select_related("lot")
        .order_by("lot", "measured_on", "pk")
    )


def _lines(which: Q) -> QuerySet[PostingLine]:
    """Return the lines of bulk honey of which nothing was undone."""
    return PostingLine.objects.standing().filter(
        which, item__kind=Item.Kind.HONEY, lot__isnull=False
    )


def _lots_warmed(found: Sequence[Warming], which: Q | None = None) -> dict[int, list[int]]:
    """Return the keys of the lots of each warming, by its key, in the order they came."""
    if not found:
        return {}
    end = _begin(max(warming.ended_on for warming in found) + timedelta(days=1))
    which = (which or Q()) & Q(posting__occurred_at__lt=end)
    stays = _stays({warming.place_id for warming in found}, which)
    return {
        warming.pk: list(
            dict.fromkeys(
                stay.lot_id
                for stay in stays.get(warming.place_id, [])
                if stay.since < _begin(warming.ended_on + timedelta(days=1))
                and (stay.until is None or stay.until >= _begin(warming.started_on))
            )
        )
        for warming in found
    }


def _stays(places: set[int], which: Q) -> dict[int, list[_Stay]]:
    """Return which lots were in these vessels and when, by vessel, in one query.

    The lines of an entry count together, and its corrections with it: what only passes through
    within one entry was never there.
    """
    grams: dict[tuple[int, int], int] = {}
    since: dict[tuple[int, int], datetime] = {}
    stays: dict[int, list[_Stay]] = {place: [] for place in places}
    for when, changes in _events(places, which):
        for (place, lot), change in changes.items():
            before = grams.get((place, lot), 0)
            grams[place, lot] = before + change
            if before <= 0 < before + change:
                since[place, lot] = when
            elif before > 0 >= before + change:
                stays[place].append(_Stay(lot, since.pop((place, lot)), when))
    for (place, lot), when in since.items():
        stays[place].append(_Stay(lot, when, None))
    for of_place in stays.values():
        of_place.sort(key=lambda stay: (stay.since, stay.lot_id))
    return stays


def _events(places: set[int], which: Q) -> Iterator[tuple[datetime, dict[tuple[int, int], int]]]:
    """Yield each entry in the order it happened: its moment, and grams by vessel and lot."""
    events: dict[tuple[datetime, int], dict[tuple[int, int], int]] = {}
    lines = _lines(which & Q(place__in=places)).values_list(
        "posting__occurred_at", "posting__corrects", "posting", "place", "lot", "quantity"
    )
    for when, corrects, posting, place, lot, quantity in lines:
        changes = events.setdefault((when, corrects or posting), {})
        changes[place, lot] = changes.get((place, lot), 0) + quantity
    for when, posting in sorted(events):
        yield when, events[when, posting]


def _begin(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time.min))

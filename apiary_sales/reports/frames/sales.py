"""What was sold: one row a line handed over; sums by size, product, channel, buyer and time."""

from __future__ import annotations

import heapq
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import tee
from typing import TYPE_CHECKING, Any

from django.db.models import (
    BigIntegerField,
    BooleanField,
    Case,
    Count,
    ExpressionWrapper,
    F,
    Max,
    Min,
    Q,
    QuerySet,
    Sum,
    When,
)
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers.models import Customer
from apiary_sales.orders.late_costs import WITH_A_COST
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.reports.frames import brought_in, uncosted
from apiary_sales.reports.frames.brought_in import NONE as NONE
from apiary_sales.reports.frames.brought_in import PastLine
from apiary_sales.reports.frames.listing import Listing
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of, plain, sums, total
from apiary_sales.reports.frames.season_rows import SeasonRows, with_what_follows
from inventory.bottling.models import Product
from inventory.physics import units
from inventory.shared.days import months_between
from inventory.shared.month_of import MonthOf

if TYPE_CHECKING:
    import pandas as pd

SEASONS_SHOWN = 3
# A question names so many lots at most.
LOTS_AT_ONCE = 5000
# A pound on a label is no whole number of grams, but one of nanograms.
NANO = 1_000_000_000

LINE = {
    "day": TEXT,
    "order": TEXT,
    "customer_key": TEXT,
    "customer": TEXT,
    "channel": TEXT,
    "goods": TEXT,
    "product_key": TEXT,
    "product": TEXT,
    "size_key": TEXT,
    "size": TEXT,
    "variety_key": TEXT,
    "variety": TEXT,
    "what": TEXT,
    "lot": TEXT,
    "season": WHOLE,
    "lines": WHOLE,
    "pieces": WHOLE,
    "grams": WHOLE,
    "goods_pieces": WHOLE,
    "goods_grams": WHOLE,
    "amount_cents": WHOLE,
    "honey_cents": WHOLE,
    "known_cents": WHOLE,
    "known_grams": WHOLE,
    "known_goods_pieces": WHOLE,
    "nanograms": WHOLE,
    "known_nanograms": WHOLE,
    "no_cost_cents": WHOLE,
    # What of that never gets one: drums, deposits and freight, and past sales.
    "never_cost_cents": WHOLE,
    "cost_cents": WHOLE,
    "margin_cents": WHOLE,
    # What of the amount is from lists of past sales.
    "brought_in_cents": WHOLE,
}
SEASON_AT = [*LINE].index("season")
MEASURES = [name for name, dtype in LINE.items() if dtype == WHOLE and name != "season"]

PACKED, BULK, GOODS, CHARGE = "packed", "bulk", "goods", "charges"
SERVICES = "services"
OTHER_GOODS: dict[str, str] = {OrderLine.Kind.WEIGHED: GOODS, OrderLine.Kind.SERVICE: SERVICES}
HONEY, ALL = "", "all"
# Sales whose cost is known; `NONE` are those without one.
KNOWN = "known"
_IS_PACKED_HONEY = Q(order_line__kind=OrderLine.Kind.PACKED, order_line__product__kind="honey")
_IS_BULK = Q(order_line__kind=OrderLine.Kind.HONEY)
KINDS = {
    HONEY: _IS_PACKED_HONEY | _IS_BULK,
    PACKED: _IS_PACKED_HONEY,
    BULK: _IS_BULK,
    GOODS: Q(order_line__kind__in=OrderLine.STOCKED) & ~_IS_PACKED_HONEY & ~_IS_BULK,
    SERVICES: Q(order_line__kind=OrderLine.Kind.SERVICE),
    CHARGE: ~Q(order_line__kind__in=[*OrderLine.STOCKED, OrderLine.Kind.SERVICE]),
    ALL: Q(),
}
_WAS_PACKED_HONEY = Q(product__kind="honey", product__item__is_weighed=False)
_NEVER = Q(pk__in=())
# The same kinds among past sales that were brought in: there are no charges and no services.
PAST_KINDS = {
    HONEY: _WAS_PACKED_HONEY | Q(product=None),
    PACKED: _WAS_PACKED_HONEY,
    BULK: Q(product=None),
    GOODS: Q(product__isnull=False) & ~_WAS_PACKED_HONEY,
    SERVICES: _NEVER,
    CHARGE: _NEVER,
    ALL: Q(),
}


@dataclass(frozen=True)
class SalesFilters:
    """Which lines count; an empty field does not filter.

    `season` is a year or `NONE`, `customer` and `variety` a primary key or `NONE`, `product` and
    `size` a short name, `cost` is `KNOWN` or `NONE`.
    """

    since: date | None = None
    until: date | None = None
    season: str = ""
    size: str = ""
    variety: str = ""
    product: str = ""
    channel: str = ""
    customer: str = ""
    goods: str = HONEY
    cost: str = ""
    measure: str = "amount_cents"
    seasons: int = SEASONS_SHOWN


def lines(filters: SalesFilters, *, by_season: bool = False) -> pd.DataFrame:
    """Return one row for each line handed over and not taken back, the oldest first.

    The weight of jars is their label weight, to the whole gram a line; charges and other goods
    have none. `nanograms` are the label weight exactly, for prices a pound. `pieces` are jars,
    `goods_pieces` other goods, `goods_grams` those sold by weight; goods are of no season.
    A line without a known cost has no margin, and its amount is in `no_cost_cents`; charges
    never have one. `by_season`, and where a season is asked for, a line of blended honey is a row
    for each season in it; see `SeasonRows`.
    """
    is_shared_out = by_season or filters.season not in ("", NONE)
    own = _rows(_each(_handed_over(filters)), SeasonRows() if is_shared_out else None)
    past = _past_rows(filters)
    if filters.season not in ("", NONE):
        own = _of_season(own, filters)
    return frame_of(heapq.merge(past, own, key=lambda row: row[0]), LINE)


def listed_lines(filters: SalesFilters) -> Listing | None:
    """Return the same rows as a list; None where lines are shared out to seasons.

    Past sales are the first of their day, as in the frame; they are few, and read at once.
    """
    if filters.season not in ("", NONE):
        return None
    past = list(_past_rows(filters))
    found = _handed_over(filters)
    days = found.order_by("fulfilment__filled_on", "id").values_list("fulfilment__filled_on", "id")
    # Past sales have the numbers below zero.
    keys = array(
        "q",
        (
            key
            for _day, key in heapq.merge(
                ((row[0], -number) for number, row in enumerate(past, start=1)),
                days.iterator(),
                key=lambda row: row[0],
            )
        ),
    )

    def read(asked: Sequence[int]) -> Iterator[Sequence[Any]]:
        there = list(
            _each(FulfilmentLine.objects.filter(pk__in=[each for each in asked if each > 0]))
        )
        figures = {
            row["key"]: found for row, (_lot, found) in zip(there, _figured(there), strict=True)
        }
        for key in asked:
            yield past[-key - 1] if key < 0 else tuple(figures[key][name] for name in LINE)

    sold = _added_up(filters, {})
    return Listing(keys, read, [*LINE], {name: total(sold, name) for name in MEASURES})


def _of_season(rows: Iterable[Sequence[Any]], filters: SalesFilters) -> Iterator[Sequence[Any]]:
    season = int(filters.season)
    return (row for row in rows if row[SEASON_AT] == season)


def _sums(filters: SalesFilters, *keys: str, more: Mapping[str, Any] | None = None) -> pd.DataFrame:
    """Return the sums of what was sold by the keys, in the order in which each was sold first.

    The database adds the lines up; only where a season is asked for is each shared out by itself.
    """
    if filters.season not in ("", NONE):
        return sums(lines(filters), keys, MEASURES)
    return sums(_added_up(filters, more or {}), keys, MEASURES)


def _added_up(filters: SalesFilters, more: Mapping[str, Any]) -> pd.DataFrame:
    own = _rows(_alike(_handed_over(filters), more), None)
    return frame_of(heapq.merge(_past_rows(filters), own, key=lambda row: row[0]), LINE)


def alike_to_the_cent(
    filters: SalesFilters, by: Mapping[str, str]
) -> Iterator[tuple[dict[str, Any], str | None]]:
    """Yield the figures of lines that have their amount and quantity in common as one, by `by`.

    Beside them is the price group of the buyer. Whole lines only: they are of all seasons.
    """
    tiers = dict(Customer.objects.values_list("pk", "tier"))
    for line in _past_lines(filters):
        yield _past_row(line), tiers.get(line.customer or 0)
    alike = {
        "tier": "fulfilment__order__customer__tier",
        "amount_each": _EARNED,
        "sold_each": _SOLD,
    }
    rows, beside = tee(_alike(_handed_over(filters), {**by, **alike}))
    for (_lot, figures), row in zip(_figured(rows), beside, strict=True):
        yield figures, row["tier"]


def by_product(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by product, the smallest first; honey in bulk and charges have a row."""
    found = _sums(filters, "goods", "product_key", "product")
    return _smallest_first(found, "product")


def by_size(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by size, all varieties and labels together; what has no size has a row."""
    found = _sums(filters, "goods", "size_key", "size")
    return _smallest_first(found, "size")


def by_variety(filters: SalesFilters) -> pd.DataFrame:
    """Return sales of honey in jars by variety, the largest first; bulk and others have a row."""
    return _sums(filters, "goods", "variety_key", "variety").pipe(_largest_first)


def by_channel(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by the channel of the order, the largest first."""
    return _sums(filters, "channel").pipe(_largest_first)


def by_customer(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by customer, the largest first; buyers without a name share one row."""
    return _sums(filters, "customer_key", "customer", more=BUYER).pipe(_largest_first)


def by_month(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by calendar month, none left out, from the first one with sales to the last day
    looked at.

    `to_day_cents` are the sales of each month up to the same day of the month as that last day.
    """
    import pandas as pd

    last, sold = _with_months(filters)
    measures = [*MEASURES, "to_day_cents"]
    found = sums(sold, ["month"], measures)
    if found.empty:
        return found
    first = date.fromisoformat(f"{found['month'].min()}-01")
    months = pd.DataFrame({"month": [f"{each:%Y-%m}" for each in months_between(first, last)]})
    merged = months.astype(TEXT).merge(found, on="month", how="left")
    # A month without lines has sales of 0, not unknown sales.
    merged.loc[merged["lines"].isna(), measures] = 0
    return merged


def _with_months(filters: SalesFilters) -> tuple[date, pd.DataFrame]:
    """Return the last day looked at, or that of a later sale, and what was sold with its month.

    `to_day_cents` are the sales up to that day of the month.
    """
    today = timezone.localdate()
    last = min(filters.until or today, today)
    if filters.season not in ("", NONE):
        sold = lines(filters)
        last = max([last, *sold["day"]])
        is_early = [day.day <= last.day for day in sold["day"]]
    else:
        past = list(_past_rows(filters))
        last = max([last, *(row[0] for row in past)])
        own = _months_alike(filters, last)
        if (latest := max([last, *(row["last_day"] for row in own)])) != last:
            last, own = latest, _months_alike(filters, latest)
        own.sort(key=lambda row: row["day"])
        both = heapq.merge(
            ((row, row[0].day <= last.day) for row in past),
            zip(_rows(own, None), (row["is_early"] for row in own), strict=True),
            key=lambda found: found[0][0],
        )
        rows = list(both)
        sold = frame_of((row for row, _is_early in rows), LINE)
        is_early = [is_early for _row, is_early in rows]
    sold["month"] = sold["day"].map(lambda day: f"{day:%Y-%m}").astype(TEXT)
    sold["to_day_cents"] = sold["amount_cents"].where(is_early, 0)
    return last, sold


def _months_alike(filters: SalesFilters, last: date) -> list[dict[str, Any]]:
    """Return what was handed over month by month, up to a day of each and after it apart."""
    month = MonthOf("fulfilment__filled_on")
    is_early = ExpressionWrapper(
        Q(fulfilment__filled_on__day__lte=last.day), output_field=BooleanField()
    )
    return list(_alike(_handed_over(filters), {"day": month, "is_early": is_early}))


def by_season(filters: SalesFilters) -> pd.DataFrame:
    """Return sales by the season in which the honey was extracted, the newest first."""
    found = sums(_of_seasons(filters, {}), ["season"], MEASURES)
    return found.sort_values("season", ascending=False, ignore_index=True)


def _of_seasons(filters: SalesFilters, more: Mapping[str, Any]) -> pd.DataFrame:
    """Return what was sold by season and what `more` parts it by, so that it adds up to `lines`.

    The database adds up the lines of lots that are of one season. Those of a blend of several are
    shared out line by line, because what rounding leaves over goes from one to the next.
    """
    if filters.season not in ("", NONE):
        return lines(filters, by_season=True)
    seasons, sold = SeasonRows(), _handed_over(filters)
    blended = seasons.blended_lots()
    in_order = sorted(blended)
    alike = _alike(sold, {"lot_key": "lot", "season": "lot__season", **more})
    plain = _rows((row for row in alike if row["lot_key"] not in blended), seasons)
    shared = (
        row
        for first in range(0, len(in_order), LOTS_AT_ONCE)
        for row in _rows(
            _each(sold.filter(lot__in=in_order[first : first + LOTS_AT_ONCE])), seasons
        )
    )
    return frame_of([*_past_rows(filters), *plain, *shared], LINE)


def bulk_against_retail(filters: SalesFilters) -> pd.DataFrame:
    """Return honey sold in jars by channel, and honey sold in bulk, in one table."""
    import pandas as pd

    sold = _sums(filters, "goods", "channel")
    sold = sold[sold["goods"].isin([PACKED, BULK])].copy()
    sold["way"] = [
        _("Honey in bulk") if goods == BULK else _jars_sold(channel)
        for goods, channel in zip(sold["goods"], sold["channel"], strict=True)
    ]
    sold["channel"] = sold["channel"].where(sold["goods"] == PACKED, "")
    sold["way"] = sold["way"].astype(TEXT)
    found = sums(sold, ["goods", "channel", "way"], MEASURES)
    return pd.concat(
        [found[found["goods"] == goods].pipe(_largest_first) for goods in (PACKED, BULK)],
        ignore_index=True,
    )


def season_against_season(filters: SalesFilters) -> pd.DataFrame:
    """Return what was sold of the newest seasons' honey, month by month of each season's age.

    Month 0 is January of the season's year, so that the same row is the same time of the year in
    each season. A column `season_<year>` holds the measure; it is unknown (None) for months that
    had not begun by the last day looked at. `by_then_<year>` is the sum up to the end of the month.
    """
    import pandas as pd

    sold = _of_seasons(filters, {"day": MonthOf("fulfilment__filled_on")})
    sold = sold[sold["season"].notna()]
    seasons = sorted(sold["season"].unique().tolist())[-filters.seasons :]
    sold = sold[sold["season"].isin(seasons)]
    ages = [
        (day.year - season) * 12 + day.month - 1
        for day, season in zip(sold["day"], sold["season"], strict=True)
    ]
    sold = sold.assign(age=pd.Series(ages, sold.index, dtype=WHOLE))
    by_age = sums(sold, ["season", "age"], [filters.measure])
    found = {
        (int(season), int(age)): plain(figure)
        for season, age, figure in by_age.itertuples(index=False)
    }
    last_day = filters.until or timezone.localdate()
    rows = []
    by_then: dict[int, int | None] = dict.fromkeys(seasons)
    for age in range(min(ages), max(ages) + 1) if ages else ():
        figures, together = [], []
        for season in seasons:
            age_now = (last_day.year - season) * 12 + last_day.month - 1
            figure = _figure(found, season, age, age_now)
            if figure is not None:
                by_then[season] = (by_then[season] or 0) + figure
            figures.append(figure)
            together.append(by_then[season] if age <= age_now else None)
        rows.append([age, _month_of(age), _short_month_of(age), *figures, *together])
    columns = {f"{name}_{season}": WHOLE for name in ("season", "by_then") for season in seasons}
    made = frame_of(rows, {"age": WHOLE, "month": TEXT, "month_short": TEXT, **columns})
    return uncosted.keep(made, sold)


def _figure(found: dict[tuple[int, int], int], season: int, age: int, age_now: int) -> int | None:
    return found.get((season, age), 0 if age <= age_now else None)


def _month_of(age: int) -> str:
    """Name a month of a season: "July", "January, 1 year on"."""
    years, month = divmod(age, 12)
    name = date_format(date(2000, month + 1, 1), "F")
    if not years:
        return name
    return ngettext(
        "%(month)s, %(years)s year later", "%(month)s, %(years)s years later", years
    ) % {
        "month": name,
        "years": years,
    }


def _short_month_of(age: int) -> str:
    """Name a month of a season in little room: "Jul", "Jan +1"."""
    years, month = divmod(age, 12)
    name = date_format(date(2000, month + 1, 1), "M")
    return f"{name} +{years}" if years else name


def _handed_over(filters: SalesFilters) -> QuerySet:
    found = (
        FulfilmentLine.objects.not_taken_back()
        .filter(KINDS[filters.goods])
        # Of goods that came back and were credited nothing is left, but what they had cost where
        # they can't be sold again.
        .exclude(
            Q(cost_cents=None) | Q(cost_cents=F("returned_cost_cents")),
            returned=F("quantity"),
            billed_cents=0,
        )
        # A deposit is owed to the buyer, and no sale.
        .exclude(order_line__kind=OrderLine.Kind.DRUM_DEPOSIT)
    )
    if filters.since:
        found = found.filter(fulfilment__filled_on__gte=filters.since)
    if filters.until:
        found = found.filter(fulfilment__filled_on__lte=filters.until)
    if filters.season:
        # Which seasons a lot is of is told when its lines are shared out.
        has_none = Q(lot=None) | KINDS[GOODS]
        found = found.filter(has_none if filters.season == NONE else ~has_none)
    if filters.product:
        found = found.filter(order_line__product__code=filters.product)
    if filters.size:
        found = found.filter(order_line__product__size__code=filters.size)
    if filters.variety:
        variety = None if filters.variety == NONE else int(filters.variety)
        found = found.filter(_IS_PACKED_HONEY, order_line__product__variety=variety)
    if filters.channel:
        found = found.filter(fulfilment__order__channel=filters.channel)
    if filters.customer:
        customer = None if filters.customer == NONE else int(filters.customer)
        found = found.filter(fulfilment__order__customer=customer)
    if filters.cost:
        is_known = Q(cost_cents__isnull=False, order_line__kind__in=WITH_A_COST)
        found = found.filter(~is_known if filters.cost == NONE else is_known)
    return found


# What a line is of, by the names that `_figured` reads.
_OF = {
    "channel": "fulfilment__order__channel",
    "kind": "order_line__kind",
    "code": "order_line__product__code",
    "product": "order_line__product__name",
    "size": "order_line__product__size__code",
    "size_name": "order_line__product__size__name",
    "variety": "order_line__product__variety",
    "variety_name": "order_line__product__variety__name",
    "declared": "order_line__product__size__declared_amount",
    "unit": "order_line__product__size__declared_unit",
    "service_code": "order_line__service__code",
    "service": "order_line__service__name",
    "product_kind": "order_line__product__kind",
}
BUYER = {"customer": "fulfilment__order__customer", "name": "fulfilment__order__customer__name"}
_OF_ONE = {
    "key": "pk",
    "lot_key": "lot",
    "day": "fulfilment__filled_on",
    "order": "fulfilment__order__number",
    "what": "order_line__description",
    "lot": "lot__code",
    "season": "lot__season",
}
# What came back and can be sold again was not sold, and what was credited not earned.
_SOLD = F("quantity") - F("returned")
_EARNED = Coalesce("billed_cents", "amount_cents")
_COST = F("cost_cents") - F("returned_cost_cents")


def _each(found: QuerySet) -> Iterator[dict[str, Any]]:
    """Yield each line, the oldest first."""
    names = {**_OF, **BUYER, **_OF_ONE}
    rows = found.order_by("fulfilment__filled_on", "id").values_list(
        *names.values(), _SOLD, _EARNED, _COST
    )
    keys = [*names, "quantity", "amount", "cost"]
    for row in rows.iterator():
        yield {**dict(zip(keys, row, strict=True)), "lines": 1}


def _alike(found: QuerySet, more: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield lines that have all but their figures in common as one, by the day of the first.

    `more` are further columns to part them by. The weight of jars is rounded a line, so that lines
    of as many jars are together; what is weighed adds up.
    """
    by_weight = (OrderLine.Kind.HONEY, OrderLine.Kind.WEIGHED)
    names = {**_OF, **more}
    rows = (
        found.order_by()
        .annotate(
            is_known=Q(cost_cents__isnull=False),
            each=Case(
                When(order_line__kind__in=by_weight, then=0),
                default=_SOLD,
                output_field=BigIntegerField(),
            ),
        )
        .values("is_known", "each", **{f"of_{name}": _column(path) for name, path in names.items()})
        .annotate(
            lines=Count("pk"),
            sold=Sum(_SOLD),
            earned=Sum(_EARNED),
            cost=Sum(_COST),
            day=Min("fulfilment__filled_on"),
            last_day=Max("fulfilment__filled_on"),
            first=Min("pk"),
        )
        .order_by("day", "first")
    )
    for row in rows.iterator():
        known = {name: row[f"of_{name}"] for name in names}
        yield {
            **known,
            "day": known.get("day", row["day"]),
            "last_day": row["last_day"],
            "lines": row["lines"],
            "quantity": row["sold"] if row["of_kind"] in by_weight else row["each"],
            "amount": row["earned"],
            "cost": row["cost"],
        }


def _column(path: Any) -> Any:
    return F(path) if isinstance(path, str) else path


def _rows(found: Iterable[dict[str, Any]], seasons: SeasonRows | None) -> Iterator[Sequence[Any]]:
    """Yield the lines, each shared out to its seasons where these are asked for."""
    for lot, row in _figured(found):
        for part in [row] if seasons is None else seasons.of(lot, row):
            yield tuple(part[name] for name in LINE)


def _figured(found: Iterable[dict[str, Any]]) -> Iterator[tuple[int | None, dict[str, Any]]]:
    """Yield the lot and the figures of each line, or of so many alike."""
    grams_each: dict[str, Any] = {}
    at_the_stand, no_variety = _("Buyers at the stand"), _("Without a variety")
    for row in found:
        kind, code, count, quantity = row["kind"], row["code"], row["lines"], row["quantity"]
        pieces = grams = goods_pieces = goods_grams = nanograms = None
        season, cost, amount = row.get("season"), row["cost"], row["amount"]
        if kind == OrderLine.Kind.PACKED and row["product_kind"] == Product.Kind.HONEY:
            pieces = quantity * count
            if code not in grams_each:
                grams_each[code] = units.grams_from(row["declared"], row["unit"])
            grams = units.round_grams(grams_each[code] * quantity) * count
            nanograms = round(grams_each[code] * quantity * NANO) * count
        elif kind == OrderLine.Kind.PACKED:
            goods_pieces, season = quantity * count, None
        elif kind == OrderLine.Kind.WEIGHED:
            goods_grams, season = quantity, None
        elif kind == OrderLine.Kind.HONEY:
            grams, nanograms = quantity, quantity * NANO
        # The cost of drums and freight is not recorded, so it is unknown, not 0.
        if kind not in WITH_A_COST:
            cost = None
        # What has no size is one row of the reports by size and variety.
        together = _together(kind)
        customer, variety = row.get("customer"), row["variety"]
        figures: dict[str, Any] = dict.fromkeys(LINE) | {
            "day": row["day"],
            "order": row.get("order"),
            "customer_key": NONE if customer is None else str(customer),
            "customer": row.get("name") or at_the_stand,
            "channel": row["channel"],
            "goods": _goods(kind, is_honey=grams is not None),
            "product_key": code or row["service_code"] or "",
            "product": row["service"] or row["product"] or together,
            "size_key": row["size"] or "",
            "size": row["size_name"] or together,
            "variety_key": NONE if variety is None else str(variety),
            "variety": row["variety_name"] or (no_variety if row["size"] else together),
            "what": row.get("what"),
            "lot": row.get("lot") or "",
            "season": season,
            "lines": count,
            "pieces": pieces,
            "grams": grams,
            "goods_pieces": goods_pieces,
            "goods_grams": goods_grams,
            "amount_cents": amount,
            "nanograms": nanograms,
            "cost_cents": cost,
            "never_cost_cents": 0 if kind in WITH_A_COST else amount,
            "brought_in_cents": 0,
        }
        yield row.get("lot_key"), with_what_follows(figures)


def _past_rows(filters: SalesFilters) -> Iterator[Sequence[Any]]:
    """Yield past sales that were brought in: they have no order, no lot and no known cost."""
    for line in _past_lines(filters):
        row = _past_row(line)
        yield tuple(row[name] for name in LINE)


def _past_lines(filters: SalesFilters) -> Iterator[PastLine]:
    if filters.cost != KNOWN:
        yield from brought_in.lines(filters, PAST_KINDS[filters.goods])


def _past_row(line: PastLine) -> dict[str, Any]:
    is_packed = line.kind == Product.Kind.HONEY and not line.is_weighed
    is_bulk = line.product is None
    row: dict[str, Any] = dict.fromkeys(LINE)
    if is_packed and line.declared_amount is not None and line.declared_unit is not None:
        exact = units.grams_from(line.declared_amount, line.declared_unit) * line.quantity
        row |= {
            "pieces": line.quantity,
            "grams": units.round_grams(exact),
            "nanograms": round(exact * NANO),
        }
    elif is_bulk:
        row |= {"grams": line.quantity, "nanograms": line.quantity * NANO}
    else:
        row["goods_grams" if line.is_weighed else "goods_pieces"] = line.quantity
    is_honey = row["grams"] is not None
    together = _("Honey in bulk") if is_bulk else _("Other goods")
    return row | {
        "day": line.day,
        "order": "",
        "customer_key": NONE if line.customer is None else str(line.customer),
        "customer": line.customer_name or _("Buyers at the stand"),
        "channel": line.channel,
        "goods": PACKED if is_packed else BULK if is_bulk else GOODS,
        "product_key": line.code or "",
        "product": line.product or together,
        "size_key": line.size or "",
        "size": line.size_name or together,
        "variety_key": NONE if line.variety is None else str(line.variety),
        "variety": line.variety_name or (_("Without a variety") if line.size else together),
        "what": _("%(what)s (brought in)") % {"what": line.product or together},
        "lot": "",
        "lines": line.lines,
        "amount_cents": line.amount_cents,
        "honey_cents": line.amount_cents if is_honey else 0,
        "known_cents": 0,
        "known_grams": 0 if is_honey else None,
        "known_goods_pieces": None if row["goods_pieces"] is None else 0,
        "known_nanograms": 0 if is_honey else None,
        "no_cost_cents": line.amount_cents,
        "never_cost_cents": line.amount_cents,
        "brought_in_cents": line.amount_cents,
    }


def _goods(kind: str, *, is_honey: bool) -> str:
    if kind == OrderLine.Kind.PACKED:
        return PACKED if is_honey else GOODS
    if kind == OrderLine.Kind.HONEY:
        return BULK
    return OTHER_GOODS.get(kind, CHARGE)


def _together(kind: str) -> str:
    """Name all that is sold without a size: honey in bulk, other goods, services, charges."""
    if kind == OrderLine.Kind.HONEY:
        return _("Honey in bulk")
    if kind == OrderLine.Kind.SERVICE:
        return _("Services")
    return _("Other goods") if kind in OrderLine.STOCKED else _("Drums, deposits, freight")


def _jars_sold(channel: str) -> str:
    return _("Jars, %(channel)s") % {"channel": Order.Channel(channel).label}


def _smallest_first(found: pd.DataFrame, by: str) -> pd.DataFrame:
    """Order products or sizes by what a piece weighs: jars, then bulk, other goods, charges."""
    place = [PACKED, BULK, GOODS, SERVICES, CHARGE]

    def key(row: int) -> tuple[int, float, str]:
        goods, named, grams, pieces = (
            found[name].iat[row] for name in ("goods", by, "grams", "pieces")
        )
        return place.index(goods), grams / pieces if goods == PACKED else 0.0, named

    return found.iloc[sorted(range(len(found)), key=key)].reset_index(drop=True)


def _largest_first(found: pd.DataFrame) -> pd.DataFrame:
    return found.sort_values("amount_cents", ascending=False, kind="stable", ignore_index=True)

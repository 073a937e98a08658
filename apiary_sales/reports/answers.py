"""The point of each report in sentences: its main figure, and what to compare that with.

A month that is not over is never compared with a whole one unless the sentence says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.reports.columns import WRITTEN, Unit, in_percent
from apiary_sales.reports.frames import sales, years
from apiary_sales.reports.frames.make import plain, total
from inventory.shared.days import years_before
from inventory.shared.weights import in_words

if TYPE_CHECKING:
    from apiary_sales.reports.report import FilteredReport

money = WRITTEN[Unit.CENTS]
weight = WRITTEN[Unit.GRAMS]
_count = WRITTEN[Unit.COUNT]


def percent(value: Decimal | None) -> str:
    """Return a percentage that is not broken over two lines."""
    return WRITTEN[Unit.PERCENT](value).replace(" ", "\N{NO-BREAK SPACE}")


def of_parts(made: FilteredReport) -> list[str]:
    """Say what was sold, how much of it the largest row is, and the same days a year before."""
    sold = made.total["amount_cents"]
    name = made.columns[0]
    largest = max(made.rows, key=lambda row: row["amount_cents"])
    share = in_percent(largest["amount_cents"], sold)
    answer = _("You sold %(amount)s.") % {"amount": money(sold)}
    if len(made.rows) > 1 and share is not None:
        answer = _("You sold %(amount)s. %(what)s brought the most: %(part)s (%(percent)s).") % {
            "amount": money(sold),
            "part": money(largest["amount_cents"]),
            "percent": percent(share),
            "what": capfirst(name.text(largest[name.name])),
        }
    return [answer, *_a_year_before(made, sold)]


def of_months(made: FilteredReport) -> list[str]:
    """Say what was sold in the last month, beside the same month a year before."""
    last = made.records[-1]
    month = date.fromisoformat(f"{last['month']}-01")
    before = years_before(month, 1)
    found = {record["month"]: record for record in made.records}
    earlier = found.get(f"{before:%Y-%m}")
    amount = plain(last["amount_cents"])
    said = {"amount": money(amount), "month": _month(month), "before": _month(before)}
    if not made.is_unfinished(last, "month"):
        answer = _("You sold %(amount)s in %(month)s.") % said
        if earlier is None:
            return [answer]
        whole = plain(earlier["amount_cents"])
        said |= {"whole": money(whole), "change": _change(amount, whole)}
        return [answer, _("In %(before)s it was %(whole)s; this is %(change)s.") % said]
    answer = _("You sold %(amount)s in %(month)s so far.") % said
    if earlier is None:
        return [answer]
    to_the_day = plain(earlier["to_day_cents"])
    said |= {
        "part": money(to_the_day),
        "change": _change(amount, to_the_day),
        "whole": money(plain(earlier["amount_cents"])),
    }
    return [
        answer,
        _(
            "By the same day of %(before)s it was %(part)s; this is %(change)s. The whole month "
            "came to %(whole)s."
        )
        % said,
    ]


def of_years(made: FilteredReport) -> list[str]:
    """Say what this year came to so far, beside the same days of the year before."""
    asked = made.asked
    last = years.last_day(asked)
    write = weight if asked.measure == "grams" else money
    now = made.total[f"year_{last.year}"]
    if now is None:
        return []
    said: dict[str, Any] = {"year": last.year, "before": last.year - 1, "amount": write(now)}
    said["day"] = date_format(last)
    is_margin = asked.measure == "margin_cents"
    if last == timezone.localdate():
        answer = (
            _("You earned %(amount)s in %(year)s so far.")
            if is_margin
            else _("You sold %(amount)s in %(year)s so far.")
        )
    else:
        answer = (
            _("You earned %(amount)s in %(year)s up to %(day)s.")
            if is_margin
            else _("You sold %(amount)s in %(year)s up to %(day)s.")
        )
    answer %= said
    both = [row for row in made.rows if row["before"] is not None]
    if not both:
        return [answer]
    then = sum(row["before"] for row in both)
    same = sum(row[f"year_{last.year}"] for row in both)
    said |= {"then": write(then), "same": write(same), "change": _change(same, then)}
    if same == now:
        return [
            answer,
            _("In the same days of %(before)s it was %(then)s; this is %(change)s.") % said,
            *_this_month(made, last, write),
        ]
    return [
        answer,
        _(
            "In the days that both years have, it was %(same)s in %(year)s and %(then)s in "
            "%(before)s; this is %(change)s."
        )
        % said,
    ]


def _this_month(made: FilteredReport, last: date, write: Callable[[Any], str]) -> list[str]:
    """Compare a month that is not over with the same days and with all of the month before."""
    row, record = made.rows[last.month - 1], made.records[last.month - 1]
    now, before = row[f"year_{last.year}"], row["before"]
    if not made.is_unfinished(record, f"year_{last.year}") or None in (now, before):
        return []
    return [
        _(
            "%(month)s so far: %(now)s. The same days of %(before)s: %(part)s, the whole month: "
            "%(whole)s."
        )
        % {
            "month": row["month"],
            "now": write(now),
            "before": _month(date(last.year - 1, last.month, 1)),
            "part": write(before),
            "whole": write(row[f"year_{last.year - 1}"]),
        }
    ]


def of_seasons(made: FilteredReport) -> list[str]:
    """Say what the honey of the newest season has brought in, and that of the one before."""
    seasons = [row for row in made.rows if row["season"] is not None]
    if not seasons:
        return of_parts(made)
    said = {"season": seasons[0]["season"], "amount": money(seasons[0]["amount_cents"])}
    answer = _("The honey of season %(season)s has brought in %(amount)s so far.") % said
    if len(seasons) == 1:
        return [answer]
    said = {"season": seasons[1]["season"], "amount": money(seasons[1]["amount_cents"])}
    return [
        answer,
        _("That of season %(season)s has brought in %(amount)s, in a longer time.") % said,
    ]


def of_seasons_by_month(made: FilteredReport) -> list[str]:
    """Say what the newest two seasons brought in by the end of the last whole month of both."""
    names = [column.name for column in made.columns if column.name.startswith("season_")]
    if len(names) < 2:
        return []
    newest, before = names[-1], names[-2]
    whole = [
        at
        for at, record in enumerate(made.records)
        if made.rows[at][newest] is not None and not made.is_unfinished(record, newest)
    ]
    if not whole:
        return []
    last = made.rows[whole[-1]]
    season, season_before = newest.removeprefix("season_"), before.removeprefix("season_")
    now, then = last[f"by_then_{season}"], last[f"by_then_{season_before}"]
    if now is None or then is None:
        return []
    write = weight if made.asked.measure == "grams" else money
    return [
        _(
            "By the end of %(month)s, the honey of season %(season)s has come to %(amount)s; that "
            "of season %(before)s had come to %(then)s by then; this is %(change)s."
        )
        % {
            "month": last["month"],
            "season": season,
            "before": season_before,
            "amount": write(now),
            "then": write(then),
            "change": _change(now, then),
        }
    ]


def of_margins(made: FilteredReport) -> list[str]:
    """Say what was earned, and on how much."""
    earned, known = made.total["margin_cents"], total(made.frame, "known_cents")
    if earned is None or not known:
        return [_("Of none of these sales is the cost known, so that there is no margin yet.")]
    share = in_percent(earned, known)
    return [
        _("You earned %(margin)s on %(sales)s of sales with a known cost: %(percent)s.")
        % {
            "margin": money(earned),
            "sales": money(known),
            "percent": "" if share is None else percent(share),
        }
    ]


def of_ways(made: FilteredReport) -> list[str]:
    """Say what so much as a pound brought in jars, and what in bulk."""
    found = {}
    for goods in (sales.PACKED, sales.BULK):
        places = [at for at, record in enumerate(made.records) if record["goods"] == goods]
        found[goods] = made.sums(places)["sales_per_pound"] if places else None
    if None in found.values():
        return of_parts(made)
    return [
        in_words(_("A {unit} brought %(jars)s in jars and %(bulk)s in bulk."))
        % {
            "jars": WRITTEN[Unit.PER_POUND](found[sales.PACKED]),
            "bulk": WRITTEN[Unit.PER_POUND](found[sales.BULK]),
        }
    ]


def of_lines(made: FilteredReport) -> list[str]:
    count = made.count
    return [
        ngettext("%(count)s line came to %(amount)s.", "%(count)s lines came to %(amount)s.", count)
        % {"count": _count(count), "amount": money(made.total["amount_cents"])}
    ]


def of_overfill(made: FilteredReport) -> list[str]:
    """Say how much honey went above the label, and what it cost."""
    said = {
        "weight": weight(made.total["over_grams"]),
        "percent": percent(made.total["over_percent"]),
        "cost": "",
    }
    cents = made.total["over_cents"]
    if cents is None:
        return [_("%(weight)s went above the label: %(percent)s of the label weight.") % said]
    said["cost"] = money(cents)
    unknown = sum(1 for row in made.rows if row["over_cents"] is None)
    answer = _(
        "%(weight)s went above the label, %(percent)s of the label weight. It cost %(cost)s."
    )
    more = [_("Honey whose cost is not entered is not in that cost.")] if unknown else []
    return [answer % said, *more]


def of_runs(made: FilteredReport) -> list[str]:
    """Say how much of the honey drawn can be sold, and where the rest went."""
    drawn = made.total["drawn_grams"]
    return [
        _("Of %(drawn)s drawn, %(percent)s is on labels.")
        % {"drawn": weight(drawn), "percent": percent(made.total["yield_percent"])},
        _("Above the label went %(over)s, %(broken)s broke, and %(lost)s was lost in filling.")
        % {
            "over": weight(made.total["over_grams"]),
            "broken": weight(made.total["broken_grams"]),
            "lost": weight(made.total["loss_grams"]),
        },
    ]


def of_stock(made: FilteredReport) -> list[str]:
    """Say what stock is worth, and which of it the most."""
    worth = made.total["value_cents"]
    if worth is None:
        return [_("No cost of this stock has been entered.")]
    answer = _("Your stock cost %(value)s.") % {"value": money(worth)}
    if len(made.rows) > 1:
        what, value = _largest(made, "what")
        answer = _("Your stock cost %(value)s. Most of that is in %(what)s: %(part)s.") % {
            "value": money(worth),
            "what": what,
            "part": money(value),
        }
    unknown = sum(1 for row in made.rows if row["value_cents"] is None)
    more = ngettext(
        "%(count)s row has no cost yet and is not in that.",
        "%(count)s rows have no cost yet and are not in that.",
        unknown,
    ) % {"count": _count(unknown)}
    return [answer, *([more] if unknown else [])]


def of_slow_stock(made: FilteredReport) -> list[str]:
    count = len(made.rows)
    longest = max(made.rows, key=lambda row: row["idle_days"])
    worth = made.total["value_cents"]
    answer = ngettext("%(count)s lot did not move.", "%(count)s lots did not move.", count) % {
        "count": count
    }
    if worth is not None:
        answer = ngettext(
            "%(count)s lot did not move; it cost %(value)s.",
            "%(count)s lots did not move; they cost %(value)s.",
            count,
        ) % {"count": _count(count), "value": money(worth)}
    return [
        answer,
        _("The longest is %(name)s: %(days)s.")
        % {"name": longest["name"], "days": WRITTEN[Unit.DAYS](longest["idle_days"])},
    ]


def of_gone(made: FilteredReport) -> list[str]:
    worth = made.total["value_cents"]
    if worth is None:
        return [_("The cost of what is gone was not entered.")]
    reason, value = _largest(made, "reason")
    return [
        _("What is gone had cost %(value)s. The largest part: %(reason)s, %(part)s.")
        % {
            "value": money(worth),
            "reason": made.columns_by_name["reason"].text(reason),
            "part": money(value),
        }
    ]


def of_journal(made: FilteredReport) -> list[str]:
    debit, credit = made.total["debit_cents"], made.total["credit_cents"]
    return [
        _("Debits come to %(debit)s and credits to %(credit)s.")
        % {"debit": money(debit or 0), "credit": money(credit or 0)}
    ]


def of_documents(made: FilteredReport) -> list[str]:
    return [
        _("They come to %(total)s with %(tax)s of tax; %(open)s is open.")
        % {
            "total": money(made.total["total_cents"]),
            "tax": money(made.total["tax_cents"]),
            "open": money(made.total["open_cents"]),
        }
    ]


def of_payments(made: FilteredReport) -> list[str]:
    count = made.count
    return [
        ngettext(
            "%(count)s payment came to %(amount)s.",
            "%(count)s payments came to %(amount)s.",
            count,
        )
        % {"count": _count(count), "amount": money(made.total["amount_cents"])}
    ]


def of_taxes(made: FilteredReport) -> list[str]:
    return [
        _("Tax comes to %(tax)s on %(base)s.")
        % {
            "tax": money(made.total["tax_cents"]),
            "base": money(made.total["base_cents"]),
        }
    ]


def _largest(made: FilteredReport, label: str) -> tuple[str, int]:
    """Return the label whose rows have the largest value together, and that value."""
    sums: dict[str, int] = {}
    for record, row in zip(made.records, made.rows, strict=True):
        sums[record[label]] = sums.get(record[label], 0) + (row["value_cents"] or 0)
    return max(sums.items(), key=lambda found: found[1])


def _a_year_before(made: FilteredReport, now: int) -> list[str]:
    """Compare with the same days a year before, where both the first and the last are asked."""
    asked = made.asked
    if asked.since is None or asked.until is None:
        return []
    until = min(asked.until, years.last_day(asked))
    earlier = replace(asked, since=years_before(asked.since, 1), until=years_before(until, 1))
    then = total(made.report.frame(earlier), "amount_cents")
    if not then:
        return []
    return [
        _("In the same days a year before it was %(then)s; this is %(change)s.")
        % {"then": money(then), "change": _change(now, then)}
    ]


def _month(first: date) -> str:
    return date_format(first, "YEAR_MONTH_FORMAT")


def _change(now: int, then: int) -> str:
    """Say by how many percent a figure is more or less than it was."""
    if now == then:
        return _("as much")
    share = in_percent(now - then, then) if then > 0 else None
    if share is None:
        return _("more") if now > then else _("less")
    said = {"percent": percent(abs(share))}
    return _("%(percent)s more") % said if share > 0 else _("%(percent)s less") % said

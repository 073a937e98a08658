"""Market days: planned, loaded, paid for and closed; `market_unloading` brings home the rest."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Required, TypedDict, Unpack

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    Expense,
    ExpenseCategory,
    MarketDay,
    MarketDayCost,
    MarketDayEntry,
    MarketDayLine,
)
from apiary_sales.billing.services import expenses
from apiary_sales.orders.rules import pieces as piece_rules
from apiary_sales.orders.rules.pieces import PiecesWanted
from inventory.bottling.services import reversals
from inventory.shared import checks, days
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules as stock_rules
from inventory.stock.models import Place, Posting
from inventory.stock.services import loads
from inventory.stock.services.loads import PiecesOf

# A market that far ahead is a slip in the year.
DAYS_AHEAD_MAX = 400
# Two weeks of work of one person; more is a slip of the finger.
LABOUR_MINUTES_MAX = 7 * 24 * 60


class MarketPlan(TypedDict, total=False):
    """Where, when and with whom the house sells at a market, and where its goods come from."""

    place: Required[Place]
    day: Required[date]
    market: Required[str]
    opens_at: Required[time]
    closes_at: Required[time]
    source: Required[Place]
    people: str
    note: str


@transaction.atomic
def plan(
    *,
    planned_by: Person,
    key: str,
    lines: Sequence[PiecesWanted] = (),
    **details: Unpack[MarketPlan],
) -> MarketDay:
    """Plan a market day with its load list, and return it; nothing moves yet.

    One place has one market a day, so that a sale counts for one market day only. Raises `BadValue`
    (or several), `AlreadyRecorded`.
    """
    refuse_repeat(MarketDay, key)
    _check(details, lines, other_than=None)
    market_day = MarketDay(planned_by=planned_by, idempotency_key=key)
    return _list(_save(market_day, details), lines)


@transaction.atomic
def change(*, market_day: MarketDay, **details: Unpack[MarketPlan]) -> MarketDay:
    """Change a market day that is not loaded yet; raises as `plan`, and `NotAllowedNow`."""
    market_day = locked(market_day)
    _refuse_loaded(market_day)
    _check(details, (), other_than=market_day)
    return _save(market_day, details)


@transaction.atomic
def set_load_list(*, market_day: MarketDay, lines: Sequence[PiecesWanted]) -> MarketDay:
    """Say what is to be loaded; raises `BadValue` at `lines.<position>.<name>`, `NotAllowedNow`."""
    market_day = locked(market_day)
    _refuse_loaded(market_day)
    problems = Problems()
    piece_rules.check(problems, lines)
    problems.raise_any()
    return _list(market_day, lines)


@transaction.atomic
def cancel(*, market_day: MarketDay) -> MarketDay:
    """Cancel a market day that is not loaded and has cost nothing; raises `NotAllowedNow`."""
    market_day = locked(market_day)
    _refuse_loaded(market_day)
    if market_day.costs.filter(expense__undone_entry=None).exists():
        raise NotAllowedNow(_("This market day has costs. Undo the expenses first."))
    market_day.cancelled_at = timezone.now()
    market_day.save(update_fields=["cancelled_at"])
    return market_day


@transaction.atomic
def load(
    *, market_day: MarketDay, lines: Sequence[PiecesWanted], loaded_by: Person, key: str
) -> MarketDay:
    """Carry what is loaded to the van or stand in one posting, oldest lots first.

    `lines` are what was really loaded; the load list keeps what was wanted. Raises `BadValue`,
    `NotEnoughStock` at `lines.<position>.pieces`, `NotAllowedNow`, `AlreadyRecorded`.
    """
    market_day = locked(market_day)
    refuse_repeat(Posting, key, made=market_day)
    _refuse_loaded(market_day)
    problems = Problems()
    piece_rules.check(problems, lines)
    problems.raise_any()
    posting = loads.carry(
        things=[PiecesOf(line.product.item, line.pieces) for line in lines],
        source=market_day.source,
        target=market_day.place,
        recorded_by=loaded_by,
        key=key,
        carried_at=moment_of(market_day, market_day.starts()),
        note=str(market_day),
        named_at=lambda index: f"lines.{index}.pieces",
    )
    MarketDayEntry.objects.create(
        market_day=market_day, kind=MarketDayEntry.Kind.LOAD, posting=posting
    )
    return market_day


@transaction.atomic
def undo_load(*, market_day: MarketDay, undone_by: Person, key: str) -> MarketDay:
    """Carry back what was loaded, by the reversing entry; it can be loaded again.

    Raises `NotAllowedNow` where it is not loaded or was unloaded, `CannotReverse` where some of it
    was sold.
    """
    market_day = locked(market_day)
    refuse_repeat(Posting, key, made=market_day)
    if market_day.is_unloaded:
        raise NotAllowedNow(_("What came home is entered. Undo that first."))
    posting = market_day.load_posting
    if posting is None:
        raise NotAllowedNow(_("Nothing is loaded for this market day."))
    reversals.reverse(posting=posting, recorded_by=undone_by, key=key)
    return market_day


@transaction.atomic
def enter_cost(
    *,
    market_day: MarketDay,
    payee: str,
    amount_cents: int,
    paid_by: str,
    entered_by: Person,
    key: str,
    category: str = ExpenseCategory.SELLING,
    tax_cents: int = 0,
    spent_on: date | None = None,
    note: str = "",
) -> Expense:
    """Enter the fee of the stall or another cost of a market day as an expense, and return it.

    It counts on the day of the market, or today where that is still to come. It is undone as any
    other expense. Raises as `expenses.enter`, and `NotAllowedNow` for a cancelled day.
    """
    market_day = locked(market_day)
    expense = expenses.enter(
        payee=payee,
        category=category,
        amount_cents=amount_cents,
        tax_cents=tax_cents,
        paid_by=paid_by,
        spent_on=spent_on or min(market_day.day, timezone.localdate()),
        note=note.strip() or str(market_day),
        entered_by=entered_by,
        key=key,
    )
    MarketDayCost.objects.create(market_day=market_day, expense=expense)
    return expense


@transaction.atomic
def close(*, market_day: MarketDay, labour_minutes: int | None, note: str = "") -> MarketDay:
    """Say how long all people together worked, and close the day; it can be closed again.

    Sales that come in late count all the same. Raises `NotAllowedNow` while the goods are not
    unloaded, `BadValue`.
    """
    market_day = locked(market_day)
    _refuse_to_come(market_day)
    if market_day.is_loaded and not market_day.is_unloaded:
        raise NotAllowedNow(_("Enter first what came home."))
    problems = Problems()
    if labour_minutes is not None and not 1 <= labour_minutes <= LABOUR_MINUTES_MAX:
        problems.add("labour_minutes", _("Enter the hours of all people together, above zero."))
    problems.raise_any()
    market_day.labour_minutes, market_day.closed_at = labour_minutes, timezone.now()
    market_day.note = note.strip()
    checks.save_checked(market_day)
    return market_day


def locked(market_day: MarketDay) -> MarketDay:
    """Lock a market day and return it as it is now; raises `NotAllowedNow` for a cancelled one."""
    now = (
        MarketDay.objects.select_for_update(of=("self",), no_key=True)
        .select_related("place", "source")
        .get(pk=market_day.pk)
    )
    if now.is_cancelled:
        raise NotAllowedNow(_("This market day was cancelled."))
    return now


def moment_of(market_day: MarketDay, moment: datetime) -> datetime | None:
    """Return when something of a market day is booked: None for now, and on an earlier day then.

    Sales of an earlier day are booked at its noon, so goods are loaded before and unloaded after.
    """
    noon = days.past_moment(market_day.day) if market_day.day < timezone.localdate() else None
    if noon is None:
        return None
    if moment == market_day.starts():
        return min(moment, noon - days.JUST)
    return max(moment, noon + days.JUST)


def _refuse_loaded(market_day: MarketDay) -> None:
    if market_day.is_loaded:
        raise NotAllowedNow(_("The goods are loaded. Undo the loading first."))
    if market_day.is_unloaded:
        raise NotAllowedNow(_("What came home is entered. Undo that first."))


def _refuse_to_come(market_day: MarketDay) -> None:
    if market_day.day > timezone.localdate():
        raise NotAllowedNow(
            _("The market is on %(day)s. Enter this on that day or later.")
            % {"day": date_format(market_day.day)}
        )


def _check(
    plan: MarketPlan, lines: Sequence[PiecesWanted], *, other_than: MarketDay | None
) -> None:
    problems = Problems()
    if not plan["market"].strip():
        problems.add("market", _("Enter the name of the market."))
    if plan["place"].kind not in MarketDay.PLACES or not plan["place"].is_active:
        problems.add("place", _("Choose a van or a stand that is in use."))
    stock_rules.check_store(problems, "source", plan["source"])
    if plan["source"] == plan["place"]:
        problems.add("source", _("Choose another place than the one you sell from."))
    if plan["closes_at"] <= plan["opens_at"]:
        problems.add("closes_at", _("The market closes before it opens. Check the hours."))
    today = timezone.localdate()
    if plan["day"] > today + timedelta(days=DAYS_AHEAD_MAX):
        problems.add("day", _("The day is more than a year ahead. Check the year."))
    elif plan["day"] < today - checks.YEARS_BACK_MAX:
        problems.add("day", _("The day is more than five years ago. Check the year."))
    if lines:
        piece_rules.check(problems, lines)
    same = MarketDay.objects.standing().filter(place=plan["place"], day=plan["day"])
    if other_than is not None:
        same = same.exclude(pk=other_than.pk)
    if found := same.first():
        problems.add(
            "day",
            _(
                "%(place)s is at %(market)s on that day already. Sales count for one market "
                "only: choose another place or day."
            )
            % {"place": plan["place"].name, "market": found.market},
        )
    problems.raise_any()


def _save(market_day: MarketDay, plan: MarketPlan) -> MarketDay:
    market_day.place, market_day.source, market_day.day = plan["place"], plan["source"], plan["day"]
    market_day.market = " ".join(plan["market"].split())
    market_day.opens_at, market_day.closes_at = plan["opens_at"], plan["closes_at"]
    market_day.people = plan.get("people", "").strip()
    market_day.note = plan.get("note", "").strip()
    checks.save_checked(market_day)
    return market_day


def _list(market_day: MarketDay, lines: Sequence[PiecesWanted]) -> MarketDay:
    market_day.lines.all().delete()
    MarketDayLine.objects.bulk_create(
        MarketDayLine(market_day=market_day, product=line.product, wanted=line.pieces)
        for line in lines
    )
    return market_day

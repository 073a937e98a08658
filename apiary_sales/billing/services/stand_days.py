"""A stand's day: open it with a float, move cash in and out, count it, close it, open it again.

How this and the count of all cash (`cash_counts`) agree. The book has one account for the cash of
the house; the drawers of stands are part of it. So a float, change fetched and cash taken to the
box are no entries: the cash stays in the house. An expense, tips paid out, and what is over or
short at a stand are entries, so that after a close the book has what was counted in the drawer. A
count of all cash that follows finds it so, and posts only what is wrong elsewhere. Three rules keep
a difference from being posted twice:

- Where all cash was counted for that day, or a later one, before the stand was closed, the drawer
  was part of that count: the close keeps its difference and posts none. That count can't be undone
  while the close stands.
- After a later count of all cash a close that posted something can't be undone, since the count
  has set the cash right with it.
- A sale that reaches the books after the close was in the drawer when it was counted. Its cash is
  entered with the sale, and taken off what was over in the same moment (`sale_came_in`). The same
  goes for a sale that no close counted, but a count of all cash did: it is taken off that one, and
  an undo of that count takes it back.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import date

from django.db import transaction
from django.db.models import DateField, IntegerField
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing import denominations, drawers, takings
from apiary_sales.billing.models import (
    CashCount,
    Entry,
    Expense,
    MoneyMove,
    PaidBy,
    StandCash,
    StandDay,
    StandDayClose,
    StandLateCash,
    StandSale,
)
from apiary_sales.billing.services import book, expenses, money_moves, money_out, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.billing.services.cash_counts import DETAIL
from apiary_sales.billing.services.payments import AMOUNT_CENTS_MAX
from inventory.shared import acts, checks, conventions, keys, words
from inventory.shared.errors import BadValue, CannotReverse, NotAllowedNow, Problems
from inventory.shared.models import BooksLock
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQuery
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import own_places
from inventory.stock.models import Place


@transaction.atomic
def open_day(
    *,
    place: Place,
    opened_by: Person,
    key: str,
    float_cents: int | None = None,
    float_pieces: Mapping[str, int] | None = None,
    day: date | None = None,
    note: str = "",
) -> StandDay:
    """Put a float into the drawer of a place, and return the day that begins with it.

    The float is a sum, or so many coins and notes by name. Raises `BadValue` (or several),
    `NotAllowedNow` for a day that was opened before, `AlreadyRecorded`.
    """
    day = day or timezone.localdate()
    # One at a time, so that two people don't both open the day.
    place = Place.objects.select_for_update(no_key=True).get(pk=place.pk)
    refuse_repeat(StandDay, key)
    problems = Problems()
    own_places.check(problems, "place", place, opened_by)
    if place.kind not in Place.STORES:
        problems.add("place", _("%(place)s is no place to sell from.") % {"place": place.name})
    checks.check_day(problems, "day", day)
    cents = _counted(problems, "float_cents", float_cents, "float_pieces", float_pieces)
    problems.raise_any()
    if StandDay.objects.filter(place=place, day=day).exists():
        raise NotAllowedNow(
            _("The day was opened already: %(place)s, %(day)s.")
            % {"place": place.name, "day": date_format(day)},
            parameter="day",
        )
    made = StandDay(
        place=place,
        day=day,
        float_cents=cents,
        float_pieces=_kept(float_pieces),
        note=note.strip(),
        opened_by=opened_by,
        idempotency_key=key,
    )
    checks.save_checked(made)
    return made


@transaction.atomic
def move_cash(
    *,
    stand_day: StandDay,
    kind: str,
    cents: int,
    moved_by: Person,
    key: str,
    text: str = "",
    payee: str = "",
    category: str = "",
) -> StandCash:
    """Put cash into an open day's drawer or take it out, and return the move.

    What is paid from the drawer is an expense: it needs `payee` and `category`. Tips taken out
    leave what the house owes its people. Raises `BadValue` (or several), `NotAllowedNow` for a
    closed day, `AlreadyRecorded`.
    """
    stand_day = _locked(stand_day)
    refuse_repeat(StandCash, key)
    _check_open(stand_day)
    problems = Problems()
    if kind not in StandCash.Kind.values:
        problems.add("kind", _("Choose what happened to the cash."))
    elif kind in StandCash.NEED_TEXT and not text.strip():
        problems.add("text", _("Say what the cash was for."))
    money_out.check_amount(problems, "cents", cents)
    problems.raise_any()
    expense: Expense | None = None
    money_move: MoneyMove | None = None
    if kind == StandCash.Kind.SPENT:
        expense = expenses.enter(
            payee=payee,
            category=category,
            amount_cents=cents,
            paid_by=PaidBy.CASH,
            entered_by=moved_by,
            key=keys.part(key, "expense"),
            spent_on=stand_day.day,
            note=text,
        )
    elif kind == StandCash.Kind.TIPS:
        money_move = money_moves.move(
            from_account=Account.CASH,
            to_account=Account.TIPS,
            cents=cents,
            moved_by=moved_by,
            key=keys.part(key, "tips"),
            moved_on=stand_day.day,
            note=text,
        )
    made = StandCash(
        stand_day=stand_day,
        kind=kind,
        cents=cents,
        text=text.strip(),
        expense=expense,
        money_move=money_move,
        recorded_by=moved_by,
        idempotency_key=key,
    )
    checks.save_checked(made)
    return made


@transaction.atomic
def undo_cash(*, stand_cash: StandCash, undone_by: Person, reason: str) -> StandCash:
    """Take a move of cash of an open day back, with its expense or payment of tips.

    Raises `CannotReverse` for a second time, `NotAllowedNow` for a closed day, `BadValue`.
    """
    stand_day = _locked(stand_cash.stand_day)
    stand_cash = StandCash.objects.select_related("expense", "money_move").get(pk=stand_cash.pk)
    if stand_cash.is_off:
        raise CannotReverse(_("This was undone already."))
    _check_open(stand_day)
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is undone."))
    problems.raise_any()
    if stand_cash.expense is not None:
        expenses.undo(
            expense=stand_cash.expense,
            undone_by=undone_by,
            key=keys.part(stand_cash.idempotency_key, "undo"),
            reason=reason,
        )
    if stand_cash.money_move is not None:
        money_moves.undo(money_move=stand_cash.money_move, undone_by=undone_by, reason=reason)
    stand_cash.undone_on = timezone.localdate()
    stand_cash.undone_by = undone_by
    stand_cash.undone_reason = reason.strip()
    stand_cash.save(update_fields=["undone_on", "undone_by", "undone_reason"])
    return stand_cash


@transaction.atomic
def close(
    *,
    stand_day: StandDay,
    closed_by: Person,
    key: str,
    counted_cents: int | None = None,
    counted_pieces: Mapping[str, int] | None = None,
    note: str = "",
) -> StandDayClose:
    """Count the drawer and close the day: its figures are kept, what is over or short is posted.

    A difference needs a note. Raises `BadValue`, `NotAllowedNow` for a closed day,
    `AlreadyRecorded`.
    """
    stand_day = _locked(stand_day)
    refuse_repeat(StandDayClose, key)
    _check_open(stand_day)
    counted = count(counted_cents=counted_cents, counted_pieces=counted_pieces)
    drawer = drawers.drawer_of(stand_day)
    difference_cents = counted - drawer.expected_cents
    if difference_cents and not note.strip():
        raise BadValue(difference_text(difference_cents), parameter="note")
    counted_with = _count_of_all_cash(stand_day.day)
    entry = None
    if difference_cents and counted_with is None:
        entry = _post(difference_cents, stand_day.day)
    made = StandDayClose(
        stand_day=stand_day,
        counted_cents=counted,
        counted_pieces=_kept(counted_pieces),
        **asdict(drawer),
        expected_cents=drawer.expected_cents,
        takings=takings.takings(drawers.sales_of(stand_day.place, stand_day.day)).as_data(),
        note=note.strip(),
        counted_with=counted_with,
        entry=entry,
        recorded_by=closed_by,
        idempotency_key=key,
    )
    checks.save_checked(made)
    return made


def count(
    *, counted_cents: int | None = None, counted_pieces: Mapping[str, int] | None = None
) -> int:
    """Return what was counted, in cents: a sum, or coins and notes; raises `BadValue`."""
    problems = Problems()
    cents = _counted(problems, "counted_cents", counted_cents, "counted_pieces", counted_pieces)
    problems.raise_any()
    return cents


def difference_text(difference_cents: int) -> str:
    """Say what is over or short, and what to do about it."""
    text = (
        _("%(cents)s more is there than expected. Count again, or say what you know about it.")
        if difference_cents > 0
        else _("%(cents)s is missing. Count again, or say what you know about it.")
    )
    return text % {"cents": words.money(abs(difference_cents))}


@transaction.atomic
def undo_close(*, stand_day_close: StandDayClose, undone_by: Person, reason: str) -> StandDayClose:
    """Open a closed day again: what its close posted is taken back, and the count is kept.

    Raises `CannotReverse` for a second time or after a later count of all cash, `BadValue`.
    """
    _locked(stand_day_close.stand_day)
    found = undone_documents.locked(StandDayClose, stand_day_close, reason)
    late = list(found.late_cash.filter(undo_entry=None).select_related("entry"))
    # With the difference in a count of all cash, what came in late was set against that count.
    taken_back = [] if found.counted_with_id else late
    posted_cents = found.difference_cents - sum(row.cents for row in taken_back)
    if found.counted_with_id is None and posted_cents:
        _check_not_counted_since(found)
    for row in taken_back:
        row.undo_entry = book.enter_opposite(row.entry, happened_on=timezone.localdate())
        row.save(update_fields=["undo_entry"])
    return undone_documents.undo(found, undone_by=undone_by, reason=reason)


@acts.act
def sale_came_in(*, sale: StandSale, corrected: StandSale | None) -> list[StandLateCash]:
    """Take the cash of a sale that was just recorded off what a count had posted as over.

    That is the close of its stand's day, or else the first count of all cash after it. Call it
    where a sale is recorded, once its payments are, with the sale that it corrects, if any. A sale
    made after the counts changes nothing here: its cash is not counted yet.
    """
    amounts: list[tuple[StandSale, Callable[[], int]]] = [(sale, lambda: drawers.cash_of(sale))]
    if corrected is not None:
        amounts.append((corrected, lambda: -drawers.cash_back_of(corrected)))
    late: dict[StandDayClose | CashCount, int] = {}
    for made, cents in amounts:
        # A corrected sale may have been known to the count; its money goes back only now.
        counted = _closed_before(made) or drawers.count_of_all_with(made, known_at=sale.recorded_at)
        if counted is not None:
            late[counted] = late.get(counted, 0) + cents()
    return [_take_off(counted, sale, cents) for counted, cents in late.items() if cents]


def _take_off(counted: StandDayClose | CashCount, sale: StandSale, cents: int) -> StandLateCash:
    if isinstance(counted, StandDayClose):
        entry = _post(-cents, counted.stand_day.day)
        return StandLateCash.objects.create(close=counted, sale=sale, cents=cents, entry=entry)
    entry = _post(-cents, counted.counted_on)
    return StandLateCash.objects.create(cash_count=counted, sale=sale, cents=cents, entry=entry)


_OF_DAY = PreparedQuery(
    lambda: StandDay.objects.filter(
        place=Given("place", IntegerField()), day=Given("day", DateField())
    )
)


def _closed_before(sale: StandSale) -> StandDayClose | None:
    """Return the close that counted the cash of a sale without knowing of it."""
    day = timezone.localdate(sale.sold_at)
    of_day = _OF_DAY.first(place=sale.place_id, day=day)
    closing = _locked(of_day).closing if of_day else None
    return closing if closing and sale.sold_at <= closing.closed_at else None


def _post(over_cents: int, day: date) -> Entry:
    """Enter cash that is over, or below zero short."""
    return book.enter(
        kind=Entry.Kind.ADJUSTMENT,
        lines=[
            BookLine(Account.CASH, over_cents),
            BookLine(Account.EXPENSES, -over_cents, detail=DETAIL),
        ],
        happened_on=day,
    )


def _locked(stand_day: StandDay) -> StandDay:
    """Lock a day until the transaction ends, and return it as it is now."""
    found = StandDay.objects.select_for_update(of=("self",), no_key=True)
    return found.select_related("place").get(pk=stand_day.pk)


def _check_open(stand_day: StandDay) -> None:
    if stand_day.closing is not None:
        raise NotAllowedNow(
            _("The day is closed: %(day)s. Open it again first.") % {"day": stand_day}
        )


def _count_of_all_cash(day: date) -> CashCount | None:
    """Return the count of all cash that a difference of this day is part of already."""
    return CashCount.objects.filter(undone_on=None, counted_on__gte=day).last()


def _check_not_counted_since(closing: StandDayClose) -> None:
    entered_on = (
        closing.entry.entered_on
        if closing.entry
        else BooksLock.objects.counting_day(closing.stand_day.day)
    )
    later = CashCount.objects.filter(
        undone_on=None, counted_on__gte=entered_on, recorded_at__gt=closing.closed_at
    ).first()
    if later is not None:
        raise CannotReverse(
            _(
                "All cash was counted on %(day)s, after this close, and set right with it. "
                "Undo that count first."
            )
            % {"day": date_format(later.counted_on)}
        )


def _counted(
    problems: Problems,
    sum_name: str,
    cents: int | None,
    pieces_name: str,
    pieces: Mapping[str, int] | None,
) -> int:
    """Return what was counted, and add a problem for what can't be."""
    if pieces:
        known = {each.name for each in denominations.of_currency(conventions.current().currency)}
        unknown = sorted(set(pieces) - known)
        if unknown:
            problems.add(
                pieces_name,
                _("There is no coin or note %(name)s here.") % {"name": ", ".join(unknown)},
            )
            return 0
        if any(not 0 <= each <= denominations.PIECES_MAX for each in pieces.values()):
            problems.add(
                pieces_name,
                _("Count from 0 to %(most)s of each coin and note.")
                % {"most": words.number(denominations.PIECES_MAX)},
            )
            return 0
        if cents is not None:
            problems.add(sum_name, _("Enter coins and notes, or a sum, but not both."))
        cents = denominations.sum_cents(pieces, conventions.current().currency)
    if cents is None:
        problems.add(sum_name, _("Enter the cash that is there; 0 where there is none."))
        return 0
    if not 0 <= cents <= AMOUNT_CENTS_MAX:
        problems.add(sum_name, _("Enter the cash that is there, from 0 to a million."))
    return cents


def _kept(pieces: Mapping[str, int] | None) -> dict[str, int]:
    return {name: count for name, count in (pieces or {}).items() if count}

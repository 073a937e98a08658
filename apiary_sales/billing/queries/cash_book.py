"""The cash book: what came in and went out, day by day, by the way it is kept."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Q
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.models import AccountMonth, Entry, EntryLine, Expense, SupplierPayment

Account = EntryLine.Account
# Where money is, and how the pages call it.
KEPT_IN: dict[str, str | Promise] = {
    Account.CASH: gettext_lazy("cash"),
    Account.CHECK: gettext_lazy("checks here"),
    Account.CARD: gettext_lazy("cards"),
    Account.TRANSFER: gettext_lazy("bank"),
}


@dataclass(frozen=True)
class CashLine:
    """One document that moved money of one kind; `balance_cents` is what was there after."""

    day: date
    account: str
    text: str
    url: str
    in_cents: int
    out_cents: int
    balance_cents: int

    @property
    def account_name(self) -> str:
        return str(KEPT_IN[self.account])


@dataclass
class CashAccount:
    """One kind of money over some days: what there was, came, went, and is left."""

    account: str
    opening_cents: int = 0
    in_cents: int = 0
    out_cents: int = 0

    @property
    def name(self) -> str:
        return str(KEPT_IN[self.account])

    @property
    def closing_cents(self) -> int:
        return self.opening_cents + self.in_cents - self.out_cents


@dataclass
class CashDay:
    """The lines of one day, and each kind of money that moved on it."""

    day: date
    accounts: list[CashAccount] = field(default_factory=list)
    lines: list[CashLine] = field(default_factory=list)


@dataclass(frozen=True)
class CashBook:
    since: date
    until: date
    accounts: list[CashAccount]
    days: list[CashDay]

    @property
    def lines(self) -> Iterator[CashLine]:
        for day in self.days:
            yield from day.lines


def cash_book(since: date, until: date, account: str = "") -> CashBook:
    """Return what moved money from `since` to `until`, both days included, oldest first.

    A day is the one an entry counts on. `account` keeps to one kind of money; left out, money that
    is brought to the bank goes out of one kind and comes in to the other.
    """
    kinds = [account] if account in KEPT_IN else list(KEPT_IN)
    lines = EntryLine.objects.filter(account__in=kinds)
    opening = AccountMonth.objects.by_account(kinds, before=since)
    whole = {kind: CashAccount(kind, opening[kind]) for kind in kinds}
    days: dict[date, CashDay] = {}
    of_day: dict[tuple[date, str], CashAccount] = {}
    found = (
        lines.filter(entry__entered_on__gte=since, entry__entered_on__lte=until)
        .select_related(
            "entry__payment__customer",
            "entry__payment__reverses",
            "entry__deposit_slip",
            "entry__deposit_slip_undone",
            "entry__bounced_check__payment__customer",
            "entry__cash_count",
            "entry__stand_day_close__stand_day__place",
            "entry__stand_day_close_undone__stand_day__place",
            "entry__stand_late_cash__close__stand_day__place",
            "entry__stand_late_cash__cash_count",
            "entry__stand_late_cash_undone__close__stand_day__place",
            "entry__stand_late_cash_undone__cash_count",
            "entry__opening_amount",
            "entry__money_move",
            "entry__money_move_undone",
        )
        .order_by("entry__entered_on", "entry_id", "id")
    )
    paid = _paid_out({row.entry_id for row in found})
    for row in found:
        day = row.entry.entered_on
        shown = days.setdefault(day, CashDay(day))
        if (day, row.account) not in of_day:
            of_day[day, row.account] = CashAccount(row.account, whole[row.account].closing_cents)
            shown.accounts.append(of_day[day, row.account])
        came, went = max(0, row.amount_cents), max(0, -row.amount_cents)
        for sums in (whole[row.account], of_day[day, row.account]):
            sums.in_cents += came
            sums.out_cents += went
        text, url = _document(row.entry, paid)
        shown.lines.append(
            CashLine(day, row.account, text, url, came, went, whole[row.account].closing_cents)
        )
    return CashBook(since, until, list(whole.values()), list(days.values()))


def _document(entry: Entry, paid: Mapping[int, tuple[str, str]]) -> tuple[str, str]:
    """Return what an entry of money is called, and the address of its page.

    `paid` has those of bill payments and expenses, which their entries don't name.
    """
    if entry.pk in paid:
        return paid[entry.pk]
    if payment := entry.payment:
        text = _("Payment, %(who)s")
        if payment.reverses_id:
            text = _("Payment undone, %(who)s")
        elif payment.is_pay_back:
            text = _("Money given back, %(who)s")
        who = str(payment.customer or _("stand"))
        text = f"{text % {'who': who}} {payment.reference}".strip()
        return text, reverse("billing:payment_detail", args=[payment.pk])
    slip = _of(entry, "deposit_slip")
    if slip is not None:
        return (
            _("Deposit slip %(slip)s") % {"slip": slip},
            reverse("billing:deposit_slip", args=[slip.pk]),
        )
    slip = _of(entry, "deposit_slip_undone")
    if slip is not None:
        return (
            _("Deposit slip %(slip)s undone") % {"slip": slip},
            reverse("billing:deposit_slip", args=[slip.pk]),
        )
    bounced = _of(entry, "bounced_check")
    if bounced is not None:
        return (
            _("Check bounced, %(who)s") % {"who": bounced.payment.customer or _("stand")},
            reverse("billing:payment_detail", args=[bounced.payment_id]),
        )
    if _of(entry, "cash_count") is not None:
        return _("Cash over or short"), reverse("billing:cash_counts")
    closed = _of(entry, "stand_day_close") or _of(entry, "stand_late_cash")
    if closed is not None:
        return str(closed), closed.get_absolute_url()
    closed = _of(entry, "stand_day_close_undone") or _of(entry, "stand_late_cash_undone")
    if closed is not None:
        return _("%(what)s, undone") % {"what": closed}, closed.get_absolute_url()
    if _of(entry, "opening_amount") is not None:
        return _("Opening amount"), reverse("billing:opening")
    moved = _of(entry, "money_move")
    if moved is not None:
        return _with(capfirst(moved.what), moved.reference), moved.get_absolute_url()
    moved = _of(entry, "money_move_undone")
    if moved is not None:
        text = _("%(what)s, undone") % {"what": capfirst(moved.what)}
        return _with(text, moved.reference), moved.get_absolute_url()
    return entry.get_kind_display(), ""


def _paid_out(entries: Collection[int]) -> dict[int, tuple[str, str]]:
    """Return text and address of the bill payments and expenses among these entries."""
    found: dict[int, tuple[str, str]] = {}
    mine = Q(entry__in=entries) | Q(undone_entry__in=entries)
    for payment in SupplierPayment.objects.filter(mine).select_related("supplier"):
        url = reverse("billing:supplier_payment", args=[payment.pk])
        who = {"who": payment.supplier}
        found[payment.entry_id] = _with(_("Bill paid, %(who)s") % who, payment.reference), url
        if payment.undone_entry_id:
            text = _("Payment of a bill undone, %(who)s") % who
            found[payment.undone_entry_id] = _with(text, payment.reference), url
    for expense in Expense.objects.filter(mine):
        url = reverse("billing:expense", args=[expense.pk])
        spent = {"who": expense.payee, "what": expense.get_category_display()}
        found[expense.entry_id] = _("Expense, %(who)s: %(what)s") % spent, url
        if expense.undone_entry_id:
            found[expense.undone_entry_id] = _("Expense undone, %(who)s: %(what)s") % spent, url
    return found


def _with(text: str, reference: str) -> str:
    return f"{text} {reference}".strip()


def _of(entry: Entry, name: str) -> Any:
    """Return the document that names an entry by this relation, or None."""
    return getattr(entry, name, None)

"""The money of a sale at the stand: several ways of paying, tips, and what does not come out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.utils.translation import gettext as _

from apiary_sales.billing.models import Adjustment, Entry, Invoice, Payment, StandSale
from apiary_sales.billing.services import adjustments, book
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.billing.services.payments import receive as receive_payment
from apiary_sales.customers.models import Customer
from inventory.shared import conventions, keys, words
from inventory.shared.coins import to_coins
from inventory.shared.errors import BadValue, Problems
from inventory.shared.models import House
from inventory.shared.people import Person

METHODS = (Payment.Method.CASH, Payment.Method.CARD, Payment.Method.CHECK)
# More cash than this above the price is treated as a typing error.
CHANGE_CENTS_MAX = 100_000
PAYMENTS_MAX = 5


@dataclass(frozen=True)
class PaymentMade:
    """One way in which a buyer paid: how much of the sale, the cash handed over, a check's number.

    Without `cents` it pays what the others leave. `tendered_cents` is given for cash alone, of
    which `cents` may be rounded to the smallest coin: `settle` finds by how many `rounding_cents`.
    """

    method: str
    cents: int | None = None
    tendered_cents: int | None = None
    reference: str = ""
    rounding_cents: int = 0

    @property
    def handed_cents(self) -> int:
        """What is kept of what was handed over."""
        return (self.cents or 0) + self.rounding_cents


@dataclass(frozen=True)
class Settled:
    """The payments with their amounts; what the buyer gave on top, and what is missing."""

    payments: tuple[PaymentMade, ...]
    on_top_cents: int
    missing_cents: int


def _field_of(index: int, name: str) -> str:
    return f"payments.{index}.{name}"


def check(
    problems: Problems,
    payments: Sequence[PaymentMade],
    on_top_cents: int,
    *,
    has_happened: bool,
) -> None:
    """Collect what is wrong with the payments themselves, whatever the sale comes to."""
    if len(payments) > PAYMENTS_MAX:
        problems.add("payments", _("A sale can be paid in up to five ways. Put some together."))
    if on_top_cents < 0:
        problems.add("on_top_cents", _("What is given on top can't be below zero."))
    for index, each in enumerate(payments):
        if each.method not in METHODS:
            problems.add(
                _field_of(index, "method"), _("Choose how it was paid: cash, card or check.")
            )
            continue
        is_cash = each.method == Payment.Method.CASH
        if is_cash and each.tendered_cents is None and not has_happened:
            problems.add(_field_of(index, "tendered_cents"), _("Enter the cash that was given."))
        if each.tendered_cents is not None and each.tendered_cents < 0:
            problems.add(
                _field_of(index, "tendered_cents"), _("The cash given can't be below zero.")
            )
        if each.cents is not None and each.cents < 0:
            problems.add(
                _field_of(index, "cents"), _("An amount that was paid can't be below zero.")
            )


def settle(
    payments: Sequence[PaymentMade], *, total_cents: int, on_top_cents: int, has_happened: bool
) -> Settled:
    """Return what each payment comes to, so that all of them pay the sale and what is on top.

    Where a sale `has_happened`, another amount than is to pay is given on top or is missing;
    otherwise it is refused with `BadValue`.
    """
    wanted_cents = left_cents = total_cents + on_top_cents
    made = []
    for each in payments:
        cents = max(0, left_cents if each.cents is None else each.cents)
        rounding_cents = 0
        if each.method == Payment.Method.CASH and (
            each.cents is None or _is_but_for_coins(cents, left_cents)
        ):
            # It pays all that is left, as far as there are coins for it.
            rounding_cents = (to_coins(left_cents) if each.cents is None else cents) - left_cents
            cents = left_cents
        made.append(replace(each, cents=cents, rounding_cents=rounding_cents))
        left_cents -= cents
    if not has_happened:
        _check_comes_out(made, wanted_cents, left_cents)
    paid_cents = wanted_cents - left_cents
    return Settled(
        tuple(made),
        on_top_cents=max(0, paid_cents - total_cents),
        missing_cents=max(0, total_cents - paid_cents),
    )


def _is_but_for_coins(cents: int, left_cents: int) -> bool:
    """Tell whether cash differs from what is left by no more than half the smallest coin."""
    return 2 * abs(cents - left_cents) <= conventions.current().smallest_coin_cents - 1


def _check_comes_out(made: Sequence[PaymentMade], wanted_cents: int, left_cents: int) -> None:
    if left_cents:
        raise BadValue(
            _("The sale comes to %(total)s, but %(paid)s was paid. Change one of the amounts.")
            % {"total": words.money(wanted_cents), "paid": words.money(wanted_cents - left_cents)},
            parameter="payments",
        )
    for index, each in enumerate(made):
        if each.tendered_cents is not None:
            _check_cash(each.handed_cents, each.tendered_cents, _field_of(index, "tendered_cents"))


def _check_cash(cents: int, tendered_cents: int, parameter: str) -> None:
    if tendered_cents < cents:
        raise BadValue(
            _("The sale comes to %(total)s, but %(given)s was given. Ask for %(missing)s more.")
            % {
                "total": words.money(cents),
                "given": words.money(tendered_cents),
                "missing": words.money(cents - tendered_cents),
            },
            parameter=parameter,
        )
    if is_a_lot(cents, tendered_cents):
        raise BadValue(
            _("%(given)s is a lot for a sale of %(total)s. Check the cash that was given.")
            % {"given": words.money(tendered_cents), "total": words.money(cents)},
            parameter=parameter,
        )


def is_a_lot(cents: int, tendered_cents: int) -> bool:
    """Tell whether so much cash for a sale looks like a typing error."""
    return tendered_cents - cents > CHANGE_CENTS_MAX


def receive(
    settled: Settled,
    *,
    receipt: Invoice,
    customer: Customer | None,
    received_on: date,
    received_by: Person,
    key: str,
    missing_reason: str = "",
    may_be_tip: bool = True,
) -> Entry | None:
    """Record the payments of a receipt; write off what is missing; return the entry of what was
    given on top, None without any. It is no tip where nobody stands."""
    on_top = _on_top_of_each(settled)
    by_method: dict[str, int] = {}
    for each, share in zip(settled.payments, on_top, strict=True):
        by_method[each.method] = by_method.get(each.method, 0) + share
    on_top_lines = [BookLine(Account(way), cents) for way, cents in by_method.items() if cents]
    open_cents = receipt.open_cents
    for number, (each, share) in enumerate(zip(settled.payments, on_top, strict=True)):
        put_cents = min((each.cents or 0) - share, open_cents)
        if not put_cents:
            continue
        open_cents -= put_cents
        receive_payment(
            customer=customer,
            amount_cents=put_cents,
            method=each.method,
            received_by=received_by,
            # The first one keeps the key that it had when a sale had one payment only.
            key=keys.part(key, f"payment-{number}" if number else "payment"),
            received_on=received_on,
            reference=each.reference,
            allocations={receipt: put_cents},
            is_at_once=True,
            tendered_cents=each.tendered_cents,
            rounding_cents=each.rounding_cents,
            on_top_cents=share if each.method == Payment.Method.CHECK else 0,
        )
    if settled.missing_cents:
        adjustments.adjust(
            invoice=receipt,
            kind=Adjustment.Kind.WRITE_OFF,
            cents=settled.missing_cents,
            reason=missing_reason or _("Less was paid at the stand than the sale came to"),
            # The receipt of a late sale is of the day it came in.
            happened_on=max(received_on, receipt.issued_on),
            made_by=received_by,
            key=keys.part(key, "missing"),
        )
    return _enter_on_top(on_top_lines, received_on, may_be_tip=may_be_tip)


def _on_top_of_each(settled: Settled) -> list[int]:
    """Return how much of each payment was given on top.

    The last ones first, but a check only where cash and cards don't do, and the largest before the
    others: a check goes to the bank as a whole, so that each should pay for some of the goods.
    """
    paid = list(enumerate(settled.payments))
    others = [row for row in reversed(paid) if row[1].method != Payment.Method.CHECK]
    checks = [row for row in paid if row[1].method == Payment.Method.CHECK]
    checks.sort(key=lambda row: -(row[1].cents or 0))
    left = settled.on_top_cents
    shares = [0] * len(paid)
    for index, each in [*others, *checks]:
        shares[index] = min(left, each.cents or 0)
        left -= shares[index]
    return shares


def _enter_on_top(lines: list[BookLine], day: date, *, may_be_tip: bool) -> Entry | None:
    if not lines:
        return None
    is_tip = may_be_tip and House.current().tips_are_for_people
    account = Account.TIPS if is_tip else Account.GIFTS
    whole_cents = sum(line.amount_cents for line in lines)
    return book.enter(
        kind=Entry.Kind.TRANSFER,
        lines=[*lines, BookLine(account, -whole_cents)],
        happened_on=day,
    )


def give_on_top_back(sale: StandSale, day: date) -> None:
    """Give back what was given on top of a sale that is undone, its payments first.

    What came with a check is gone with that one already.
    """
    if sale.on_top_entry is None or sale.on_top_undo_entry is not None:
        return
    gone = Payment.objects.filter(
        allocations__invoice=sale.receipt, good_after_all=None, reversed_by__isnull=False
    ).distinct()
    gone_cents = sum(payment.on_top_cents for payment in gone)
    sums = {line.account: -line.amount_cents for line in sale.on_top_entry.lines.all()}
    if gone_cents:
        sums[Account.CHECK] += gone_cents
        sums[Account.TIPS if Account.TIPS in sums else Account.GIFTS] -= gone_cents
    if not any(sums.values()):
        return
    sale.on_top_undo_entry = book.enter(
        kind=sale.on_top_entry.kind,
        lines=[BookLine(account, cents) for account, cents in sums.items()],
        happened_on=day,
    )
    sale.save(update_fields=["on_top_undo_entry"])

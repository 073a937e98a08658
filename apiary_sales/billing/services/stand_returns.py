"""Part of a stand sale comes back: some of the goods, and the money that was paid for them.

A sale that was never one is undone as a whole by `stand.take_back`. Here the sale stays, a credit
note is written for what came back, at the price paid with its tax, and money goes back by the way
it came. What was given on top of the price stays with the house: it was paid for nothing.

Whoever sold may give back on the day of the sale. For an older day, or a sale of somebody else, the
office or the owner does it, or approves it; see `return_requests`.
"""

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from typing import cast

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Allocation, Invoice, Payment
from apiary_sales.billing.services import credit_notes, payments
from apiary_sales.billing.stand_return_rules import PiecesBack, share_out
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules.returns import GoodsBack, still_out
from apiary_sales.orders.services import orders
from inventory.shared import keys, words
from inventory.shared.errors import BadValue, NotAllowedNow, Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import own_places
from inventory.stock.models import Place

# Whoever may issue a credit note may also approve a return.
APPROVE = "billing.issue_invoices"


class NeedsApproval(NotAllowedNow):
    """The office or the owner has to approve it first."""

    code = "needs_approval"


def needs_approval(receipt: Invoice, person: Person) -> bool:
    """Tell whether the office is asked before this person takes back anything of this sale.

    Without asking, whoever is not of the office takes back what they sold or sent in themselves
    today.
    """
    return not person.has_perm(APPROVE) and not (
        _is_of_today(receipt) and _is_theirs(receipt, person)
    )


def _is_of_today(receipt: Invoice) -> bool:
    return receipt.supplied_on == timezone.localdate()


def _is_theirs(receipt: Invoice, person: Person) -> bool:
    sale = receipt.stand_sale
    return person.pk in (sale.sold_by_id, sale.sent_by_id)


def check_may_take_back(receipt: Invoice, person: Person) -> None:
    """Raise `NeedsApproval` where this person has to ask the office first; see `needs_approval`.

    Raises `BadValue` for a sale at a place at which the person may not act.
    """
    if needs_approval(receipt, person):
        told = {
            "receipt": receipt,
            "day": date_format(receipt.supplied_on),
            "seller": receipt.stand_sale.sold_by.display_name,
        }
        raise NeedsApproval(
            _(
                "%(seller)s sold receipt %(receipt)s. For a sale of somebody else, ask the office "
                "or the owner to approve the return."
            )
            % told
            if _is_of_today(receipt)
            else _(
                "Receipt %(receipt)s is of %(day)s. For a sale of an older day, ask the office or "
                "the owner to approve the return."
            )
            % told
        )
    problems = Problems()
    own_places.check(problems, None, receipt.stand_sale.place, person)
    problems.raise_any()


@transaction.atomic
def give_back(
    *,
    receipt: Invoice,
    lines: Sequence[PiecesBack],
    given_by: Person,
    key: str,
    reason: str,
    method: str = "",
    check_has_cleared: bool = False,
    expected_total_cents: int | None = None,
    is_approved: bool = False,
) -> Invoice:
    """Take some of the goods of a stand sale back, give their money back, return the credit note.

    Pieces wait at the place for returned goods until somebody decides, goods by weight are spoiled,
    unless they never left the counter. `method` is the way of which most is given back where the
    buyer paid in several; never more than was paid so. Money for a check is given back only when
    `check_has_cleared`. `is_approved` says that the office allowed it. Raises `NeedsApproval`,
    `NotAllowedNow`, `BadValue` (or several) at `lines.<position>.pieces`, `FiguresChanged`,
    `AlreadyRecorded`.
    """
    if not receipt.is_receipt:
        raise NotAllowedNow(
            _("%(invoice)s is not a stand receipt. Make a credit note for the invoice instead.")
            % {"invoice": receipt}
        )
    # The document is locked before its goods: of two returns at the same moment, one waits.
    orders.lock(cast(Order, receipt.order))
    refuse_repeat(Invoice, key)
    if not is_approved:
        check_may_take_back(receipt, given_by)
    check_lines(receipt, lines)
    goods_back, positions = _goods_back(receipt, lines)
    with lines_named(len(lines), positions):
        note = credit_notes.credit(
            invoice=receipt,
            issued_by=given_by,
            key=key,
            reason=reason,
            lines=[each.credit for each in lines],
            goods_back=goods_back,
            expected_total_cents=expected_total_cents,
            gives_money_back=True,
        )
    for way, cents in _shares(receipt, note, method, check_has_cleared).items():
        payments.hand_back(
            note=note,
            amount_cents=cents,
            method=way,
            given_by=given_by,
            key=keys.part(key, way),
            reason=reason,
        )
    return note


def check_lines(receipt: Invoice, lines: Sequence[PiecesBack]) -> None:
    """Refuse what is no return of some of this receipt; how much is left is checked by its credit.

    Raises `BadValue` (or several) at `lines.<position>.pieces`.
    """
    problems = Problems()
    for index, each in enumerate(lines):
        what = {"what": each.line.description}
        if each.line.invoice_id != receipt.pk:
            problems.add(
                f"lines.{index}.pieces",
                _("%(what)s is not on receipt %(receipt)s.") % {**what, "receipt": receipt},
            )
        elif each.pieces is not None and _is_weighed(each):
            problems.add(
                f"lines.{index}.pieces",
                _("%(what)s was sold by weight. It comes back as a whole, or not at all.") % what,
            )
    problems.raise_any()


def lines_named(count: int, goods: Sequence[int] = ()) -> AbstractContextManager[None]:
    """Let what a credit or a return refuses name `lines.<position>.pieces`.

    `goods` has the position of the line of each of the goods.
    """
    names = {f"lines.{index}.quantity": f"lines.{index}.pieces" for index in range(count)}
    for index, position in enumerate(goods):
        for field in ("quantity", "place"):
            names[f"goods_back.{index}.{field}"] = f"lines.{position}.pieces"
    return parameters_named(**names)


def given_back(note: Invoice) -> dict[str, int]:
    """Return the cents that were given back for a credit note, by the way."""
    rows = Payment.objects.filter(refunds=note).order_by("id")
    return {row.method: row.given_back_cents for row in rows if row.is_pay_back}


def ways_left(receipt: Invoice) -> dict[str, int]:
    """Return what was paid on a receipt by each way and was not given back, in cents.

    A payment that was undone, as a check that bounced, does not count.
    """
    paid = (
        Allocation.objects.filter(
            invoice=receipt,
            amount_cents__gt=0,
            payment__reverses=None,
            payment__reversed_by=None,
        )
        .exclude(payment__method=Payment.Method.OPENING)
        .order_by()
        .values_list("payment__method")
        .annotate(Sum("amount_cents"))
    )
    given = (
        Payment.objects.filter(refunds__isnull=False, refunds__credits=receipt)
        .order_by()
        .values_list("method")
        .annotate(Sum("amount_cents"))
    )
    left = dict(paid)
    for way, cents in given:
        left[way] = left.get(way, 0) + cents
    return {way: cents for way, cents in left.items() if cents > 0}


def _shares(
    receipt: Invoice, note: Invoice, method: str, check_has_cleared: bool
) -> Mapping[str, int]:
    """Return what is given back for a new credit note by which way.

    Called when the note is written: the receipt is locked by then, and what stays paid on it is
    known. What was not paid, because a check bounced, is not given back.
    """
    there = ways_left(receipt)
    put = Allocation.objects.filter(invoice=receipt).aggregate(cents=Sum("amount_cents"))
    cents = min(-note.total_cents, sum(there.values()) - (put["cents"] or 0))
    if cents <= 0:
        return {}
    if method and method not in there:
        raise BadValue(
            _("Nothing that was paid this way is left. Choose another way."), parameter="method"
        )
    if not method and len(there) > 1 and cents < sum(there.values()):
        raise BadValue(
            _("The buyer paid in several ways. Choose how the money is given back."),
            parameter="method",
        )
    shares = share_out(there, cents, method)
    if by_check := shares.get(Payment.Method.CHECK):
        _check_has_cleared(by_check, check_has_cleared)
    return shares


def _check_has_cleared(cents: int, has_cleared: bool) -> None:
    if not has_cleared:
        raise BadValue(
            _(
                "%(amount)s of it was paid by check. Give it back once the bank says that the "
                "check has cleared, and tick that it has."
            )
            % {"amount": words.money(cents)},
            parameter="check_has_cleared",
        )


def _goods_back(receipt: Invoice, lines: Sequence[PiecesBack]) -> tuple[list[GoodsBack], list[int]]:
    """Return the goods of these lines, and at which position of `lines` each is."""
    back, positions = [], []
    for index, each in enumerate(lines):
        goods = each.line.fulfilment_line
        # Goods that the books never had have no lot: a count says that they are here.
        if goods is None or goods.lot is None or not goods.order_line.is_stocked:
            continue
        quantity = still_out(goods) if each.pieces is None else each.pieces
        if quantity == 0 and each.pieces is None:
            # They came back before, without a credit note.
            continue
        back.append(GoodsBack(goods, quantity, _place_for(receipt, goods), each.is_on_shelf))
        positions.append(index)
    return back, positions


def _place_for(receipt: Invoice, goods: FulfilmentLine) -> Place | None:
    """Return where goods of a receipt come back: where they were sold, honey into its vessel."""
    if goods.order_line.kind == OrderLine.Kind.HONEY:
        return None
    place = receipt.stand_sale.place
    if place.is_active:
        return place
    # A stand that is given up does not open again for a jar that comes back.
    stores = Place.objects.filter(kind__in=Place.STORES, is_active=True)
    return stores.order_by("pk").first() or place


def _is_weighed(back: PiecesBack) -> bool:
    goods = back.line.fulfilment_line
    return goods is not None and goods.order_line.kind in OrderLine.BY_WEIGHT

"""Credit notes: for whole invoices or parts of them, for prices, allowances and drum deposits."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing import rules
from apiary_sales.billing.models import Invoice, InvoiceLine, KeptDeposit
from apiary_sales.billing.rules import Left, LineCredit
from apiary_sales.billing.services import adjustments, book, invoices
from apiary_sales.billing.services.invoices import Draft
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import orders, returns
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

__all__ = ["credit", "credit_deposit", "draft", "drums_on_deposit", "left_on"]


def left_on(invoice: Invoice, *, is_billed_anew: bool = False) -> list[Left]:
    """Return what of each line of an invoice no credit note has taken back yet.

    The deposit of a drum that never came back is kept, and not left to credit. Where the invoice
    `is_billed_anew`, only the deposits that were kept or given back are gone.
    """
    lines = invoice.lines.select_related(
        "fulfilment_line__order_line__product",
        "fulfilment_line__order_line__drum",
        "fulfilment_line__order_line__service",
        "fulfilment_line__lot__product__item",
        "fulfilment_line__fulfilment",
    ).prefetch_related("taxes")
    credited = (
        InvoiceLine.objects.filter(invoice__credits=invoice)
        .select_related("invoice")
        .prefetch_related("taxes")
    )
    if is_billed_anew:
        credited = credited.filter(invoice__returns_deposit=True)
    kept = KeptDeposit.objects.standing().filter(invoice_line__invoice=invoice)
    return rules.without_kept(
        rules.left_on(lines, credited), kept.values_list("invoice_line", "amount_cents")
    )


def draft(
    invoice: Invoice,
    lines: Sequence[LineCredit] | None = None,
    *,
    reason: str = "",
    issued_on: date | None = None,
    returns_deposit: bool = False,
) -> Draft:
    """Return the credit note that `credit` would issue now; without `lines`, for all that is left.

    Raises `BadValue` (or several) at `lines.<position>.<name>`, `NotAllowedNow` where nothing is
    left to credit.
    """
    left = left_on(invoice)
    if not left:
        raise NotAllowedNow(
            _("Invoice %(invoice)s is credited in full already.") % {"invoice": invoice}
        )
    problems = Problems()
    asked = [LineCredit(each.line) for each in left] if lines is None else lines
    made = rules.credited(problems, left, asked)
    problems.raise_any()
    issued_on = issued_on or timezone.localdate()
    note = Invoice(
        customer=invoice.customer,
        order=invoice.order,
        opening_number=invoice.opening_number,
        credits=invoice,
        returns_deposit=returns_deposit,
        issued_on=issued_on,
        # A credit counts when it is issued, at the taxes that were charged.
        supplied_on=issued_on,
        due_on=issued_on,
        language=invoice.language,
        currency=invoice.currency,
        seller=invoices.seller_of(House.current()),
        buyer=invoice.buyer,
        exemption=invoice.exemption,
        prices_include_tax=invoice.prices_include_tax,
        note=reason.strip(),
    )
    return invoices.add_up(note, [each.line for each in made], [each.taxes for each in made])


@transaction.atomic
def credit(
    *,
    invoice: Invoice,
    issued_by: Person,
    key: str,
    reason: str,
    lines: Sequence[LineCredit] | None = None,
    goods_back: Sequence[GoodsBack] = (),
    returned_on: date | None = None,
    sends_again: bool = False,
    issued_on: date | None = None,
    expected_total_cents: int | None = None,
    gives_money_back: bool = False,
) -> Invoice:
    """Credit an invoice in full, or some lines by quantity, price or amount; return the note.

    `goods_back` says what of the goods came back, to which place, and whether it can be sold; left
    out, all stays with the buyer, whom a recall still names. The order stays as it is unless
    `sends_again`: then it is to be filled again with the goods credited, reserved anew.
    What was paid beyond the rest stays on the customer's account. `gives_money_back` says that the
    caller hands it back in the same transaction, as undoing a stand sale does; a paid receipt
    without a customer can be credited in no other way. `expected_total_cents` is the total that was
    shown to the person. Raises `NotAllowedNow` for a credit note or where nothing is left,
    `BadValue` (or several), `FiguresChanged`, `NotEnoughStock`, `AlreadyRecorded`.
    """
    # With the order locked, its goods are billed, and its invoices credited, once.
    if invoice.order:
        orders.lock(invoice.order)
    refuse_repeat(Invoice, key)
    _check_credit(invoice, reason, issued_on, gives_money_back)
    made = draft(invoice, lines, reason=reason, issued_on=issued_on)
    invoices.check_total(made, expected_total_cents)
    if invoice.order and goods_back:
        _check_goods(invoice, goods_back)
        returns.take_in(
            order=invoice.order,
            goods_back=goods_back,
            recorded_by=issued_by,
            key=key,
            reason=reason,
            returned_on=returned_on,
        )
    note = _save(made, issued_by=issued_by, key=key)
    if invoice.order and sends_again:
        returns.send_again(
            order=invoice.order,
            goods=_to_send_again(made.lines),
            asked_by=issued_by,
            key=key,
            reason=reason,
        )
    return note


@transaction.atomic
def credit_deposit(
    *,
    invoice: Invoice,
    drums: int,
    issued_by: Person,
    key: str,
    issued_on: date | None = None,
    expected_total_cents: int | None = None,
) -> Invoice:
    """Credit the deposit of so many drums that came back, with its tax, and return the note.

    It comes off what is to pay on the invoice; what was paid already stays on the customer's
    account, from where it can be given back. Raises `NotAllowedNow` when no drum of the invoice is
    out on deposit, `BadValue` for more than are, `FiguresChanged`, `AlreadyRecorded`.
    """
    if invoice.order:
        orders.lock(invoice.order)
    refuse_repeat(Invoice, key)
    out = _deposits(invoice)
    there = sum(int(each.quantity) for each in out)
    if not there:
        raise NotAllowedNow(
            _("Invoice %(invoice)s has no drum out on deposit any more.") % {"invoice": invoice}
        )
    if not 1 <= drums <= there:
        raise BadValue(
            ngettext(
                "Invoice %(invoice)s has %(count)s drum out on deposit. Enter 1.",
                "Invoice %(invoice)s has %(count)s drums out on deposit. Enter from 1 to "
                "%(count)s.",
                there,
            )
            % {"invoice": invoice, "count": there},
            parameter="drums",
        )
    with translation.override(invoice.language):
        came_back = ngettext(
            "Deposit of %(count)s drum that came back",
            "Deposit of %(count)s drums that came back",
            drums,
        ) % {"count": drums}
    lines = []
    for each in out:
        if back := min(drums, int(each.quantity)):
            lines.append(LineCredit(each.line, quantity=Decimal(back)))
            drums -= back
    made = draft(invoice, lines, reason=came_back, issued_on=issued_on, returns_deposit=True)
    invoices.check_total(made, expected_total_cents)
    return _save(made, issued_by=issued_by, key=key)


def drums_on_deposit(invoice: Invoice) -> int:
    """Return how many drums of an invoice are out on a deposit that no credit note gave back."""
    return sum(int(each.quantity) for each in _deposits(invoice))


def _deposits(invoice: Invoice) -> list[Left]:
    return [each for each in left_on(invoice) if each.line.is_deposit and each.quantity]


def _save(made: Draft, *, issued_by: Person, key: str) -> Invoice:
    """Save a credit note, and take what it comes to off its invoice."""
    note = invoices.save(made, prefix=Invoice.CREDIT_PREFIX, issued_by=issued_by, key=key)
    if note.credits:
        adjustments.make_room_for_credit(invoice=note.credits, made_by=issued_by, key=key)
        book.credit(note.credits, -note.total_cents)
    return note


def _check_credit(
    invoice: Invoice, reason: str, issued_on: date | None, gives_money_back: bool
) -> None:
    if invoice.is_credit_note:
        raise NotAllowedNow(_("A credit note can't be credited. Issue an invoice instead."))
    if invoice.is_opening:
        raise NotAllowedNow(
            _("Invoice %(invoice)s was written before the books began. Take it back instead.")
            % {"invoice": invoice}
        )
    if invoice.customer_id is None and invoice.allocations.exists() and not gives_money_back:
        raise NotAllowedNow(
            _(
                "Receipt %(receipt)s was paid at the stand. Undo the stand sale instead, so that "
                "the money goes back with the goods."
            )
            % {"receipt": invoice}
        )
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is credited; it is printed on the credit note."))
    if issued_on and issued_on > timezone.localdate():
        problems.add(
            "issued_on", _("A credit note can't be dated in the future. Choose today or earlier.")
        )
    elif issued_on and issued_on < invoice.issued_on:
        problems.add(
            "issued_on",
            _("Invoice %(invoice)s was issued on %(day)s. Choose that day or a later one.")
            % {"invoice": invoice, "day": date_format(invoice.issued_on)},
        )
    problems.raise_any()


def _check_goods(invoice: Invoice, goods_back: Sequence[GoodsBack]) -> None:
    billed = set(invoice.lines.values_list("fulfilment_line", flat=True))
    problems = Problems()
    for index, back in enumerate(goods_back):
        if back.goods.pk not in billed:
            problems.add(
                f"goods_back.{index}.quantity",
                _("These goods are not on invoice %(invoice)s.") % {"invoice": invoice},
            )
    problems.raise_any()


def _to_send_again(lines: Iterable[InvoiceLine]) -> dict[FulfilmentLine, int]:
    """Return what of the goods credited is to be handed over again, in the units of the order."""
    wanted: dict[FulfilmentLine, int] = {}
    for line in lines:
        goods = line.fulfilment_line
        if goods is None or line.credited_as != InvoiceLine.CreditedAs.GOODS:
            continue
        if goods.order_line.is_stocked:
            there = goods.quantity - goods.sent_again
            is_weight = goods.order_line.kind in OrderLine.BY_WEIGHT
            # Pounds are printed rounded: all that is left of a weight is what was handed over.
            wanted[goods] = there if is_weight else min(there, int(-line.quantity))
    return wanted

"""Sales at the stand: goods, receipt and money in one go, and the way back."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import cast

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.services import credit_notes, invoices, line_taxes, payments
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Fulfilment, Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import ProductTax
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.tax import TaxedAmount
from inventory.shared import keys, words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.money import split_cents
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Place

METHODS = (Payment.Method.CASH, Payment.Method.CARD, Payment.Method.CHECK)
PIECES_MAX = 1_000
# More cash than this above the price is treated as a typing error.
CHANGE_CENTS_MAX = 100_000
# A sale kept without signal comes in late, but not by months: then the clock is wrong.
DAYS_LATE_MAX = 60


@dataclass(frozen=True)
class StandSale:
    """What a sale at the stand made; `payment` is None when there was nothing to pay."""

    order: Order
    fulfilment: Fulfilment
    invoice: Invoice
    payment: Payment | None

    @property
    def change_cents(self) -> int:
        """The cash given back at the counter."""
        if self.payment is None or self.payment.tendered_cents is None:
            return 0
        return self.payment.tendered_cents - self.payment.amount_cents


def find(key: str) -> StandSale | None:
    """Return the sale already recorded with this idempotency key."""
    receipt = invoices.find(keys.part(key, "receipt"))
    return None if receipt is None else of_receipt(receipt)


def of_receipt(receipt: Invoice) -> StandSale:
    """Return the sale that a receipt was written for."""
    payment = (
        Payment.objects.filter(allocations__invoice=receipt, reverses=None).order_by("id").first()
    )
    # A receipt is always of an order.
    order = cast(Order, receipt.order)
    return StandSale(order, order.fulfilments.earliest("id"), receipt, payment)


@transaction.atomic
def sell(
    *,
    lines: Sequence[LineWanted],
    place: Place,
    method: str,
    tendered_cents: int | None,
    sold_by: Person,
    key: str,
    customer: Customer | None = None,
    sold_at: datetime | None = None,
    discount_cents: int = 0,
    issued_on: date | None = None,
) -> StandSale:
    """Sell goods from a place for money in hand: stock, receipt and payment, all or nothing.

    `tendered_cents` is the cash given; a card or check is recorded at the exact amount.
    `discount_cents` is taken off the whole sale before tax, shared out over the lines.
    A sale kept while there was no signal brings its own `sold_at`: its taxes are of that day, and
    its receipt is dated today, or `issued_on` where it was written elsewhere.
    Raises `BadValue` (or several), `NotEnoughStock`, `StockReserved`, and `AlreadyRecorded` with
    the sale made first when the key came before.
    """
    _refuse_repeat(key)
    now = timezone.now()
    # If the clock of the device is ahead, the sale counts as made now.
    sold_at = min(sold_at or now, now)
    _check(lines, method, tendered_cents, key, sold_at, discount_cents)
    sold_on = timezone.localdate(sold_at)
    try:
        fulfilment = orders.sell_now(
            customer=customer,
            lines=_discounted(lines, discount_cents),
            place=place,
            created_by=sold_by,
            key=keys.part(key, "goods"),
            sold_on=sold_on,
        )
    except AlreadyRecorded:
        # The same sale, sent at the same moment, was faster.
        _refuse_repeat(key)
        raise
    receipt = invoices.issue(
        order=fulfilment.order,
        issued_by=sold_by,
        key=keys.part(key, "receipt"),
        issued_on=issued_on,
    )
    cash_cents = tendered_cents if method == Payment.Method.CASH else None
    if cash_cents is not None:
        _check_cash(receipt.total_cents, cash_cents)
    payment = None
    if receipt.total_cents:
        payment = payments.receive(
            customer=customer,
            amount_cents=receipt.total_cents,
            method=method,
            received_by=sold_by,
            key=keys.part(key, "payment"),
            received_on=sold_on,
            allocations={receipt: receipt.total_cents},
            tendered_cents=cash_cents,
        )
    return StandSale(fulfilment.order, fulfilment, receipt, payment)


def total_of(line: LineWanted) -> TaxedAmount:
    """Return what a sale of one line comes to now, with its tax, to a buyer who is taxed."""
    house = House.current()
    goods = invoices.taxed_as(line, ProductTax.objects.by_product())
    [taxed] = tax.tax_invoice_lines(
        [tax.TaxLine(goods, line.amount_cents)],
        house.tax_rounding,
        treatments=line_taxes.treatments_on(timezone.localdate(), house=house),
        prices_include_tax=house.prices_include_tax,
    )
    return taxed


@transaction.atomic
def take_back(
    *,
    receipt: Invoice,
    taken_by: Person,
    key: str,
    reason: str,
    weighed_comes_back: bool = False,
) -> Invoice:
    """Undo a sale at the stand: the jars come back, the money goes back, and a credit note says so.

    What was weighed out is in the buyer's container and is spoiled, unless `weighed_comes_back`:
    then it never left the counter. Raises `NotAllowedNow` for a bill that is no receipt or was
    undone already, `BadValue` without a reason, `AlreadyRecorded`.
    """
    if not receipt.is_receipt:
        raise NotAllowedNow(
            _("%(invoice)s is not a stand receipt. Make a credit note for the invoice instead.")
            % {"invoice": receipt}
        )
    refuse_repeat(Invoice, key)
    if note := receipt.credit_notes.first():
        raise NotAllowedNow(
            _("Receipt %(receipt)s already has a credit note: %(note)s.")
            % {"receipt": receipt, "note": note}
        )
    # Found before the credit note takes the payment off the receipt.
    sale = of_receipt(receipt)
    orders.take_back(
        fulfilment=sale.fulfilment,
        taken_by=taken_by,
        key=keys.part(key, sale.fulfilment.pk),
        reason=reason,
        is_credited=True,
        spoils_weighed=not weighed_comes_back,
    )
    note = credit_notes.credit(
        invoice=receipt, issued_by=taken_by, key=key, reason=reason, gives_money_back=True
    )
    if sale.payment is not None and not Payment.objects.filter(reverses=sale.payment).exists():
        payments.reverse(
            payment=sale.payment, reversed_by=taken_by, key=keys.part(key, "payment"), reason=reason
        )
    return note


def _refuse_repeat(key: str) -> None:
    refuse_repeat(
        Invoice,
        keys.part(key, "receipt"),
        made=find(key),
        message=_("This sale was recorded already."),
    )


def _check(
    lines: Sequence[LineWanted],
    method: str,
    tendered_cents: int | None,
    key: str,
    sold_at: datetime,
    discount_cents: int,
) -> None:
    problems = Problems()
    if not key or len(key) > keys.LENGTH_MAX:
        problems.add("key", _("Part of the sale is missing. Open the stand page again."))
    if not lines:
        problems.add("lines", _("The sale is empty. Choose what was sold."))
    for index, line in enumerate(lines):
        _check_line(problems, index, line)
    if method not in METHODS:
        problems.add("method", _("Choose how it was paid: cash, card or check."))
    elif method == Payment.Method.CASH and tendered_cents is None:
        problems.add("tendered_cents", _("Enter the cash that was given."))
    if tendered_cents is not None and tendered_cents < 0:
        problems.add("tendered_cents", _("The cash given can't be below zero."))
    if timezone.now() - sold_at > timedelta(days=DAYS_LATE_MAX):
        problems.add(
            "sold_at",
            _("The sale is dated %(days)s days ago or more. Check the clock of this device.")
            % {"days": DAYS_LATE_MAX},
        )
    _check_discount(problems, lines, discount_cents)
    problems.raise_any()


def _check_line(problems: Problems, index: int, line: LineWanted) -> None:
    name = line.product.name if line.product else line.description
    is_in_pieces = line.kind not in OrderLine.BY_WEIGHT
    if is_in_pieces and line.quantity < 1:
        problems.add(f"lines.{index}.quantity", _("%(name)s: enter 1 or more.") % {"name": name})
    elif is_in_pieces and line.quantity > PIECES_MAX:
        problems.add(
            f"lines.{index}.quantity",
            _("%(pieces)s of %(name)s is too much for one stand sale. Take an order instead.")
            % {"pieces": words.pieces(line.quantity), "name": name},
        )
    if line.unit_price < 0:
        problems.add(
            f"lines.{index}.unit_price",
            _("The price of %(name)s can't be below zero.") % {"name": name},
        )


def _check_discount(problems: Problems, lines: Sequence[LineWanted], discount_cents: int) -> None:
    whole_cents = sum(line.amount_cents for line in lines)
    if discount_cents < 0:
        problems.add("discount_cents", _("The discount can't be below zero."))
    elif discount_cents > max(whole_cents, 0):
        problems.add(
            "discount_cents",
            _(
                "The discount of %(discount)s is more than the price of the goods, "
                "%(whole)s. Enter a smaller discount."
            )
            % {"discount": words.money(discount_cents), "whole": words.money(whole_cents)},
        )


def _check_cash(total_cents: int, tendered_cents: int) -> None:
    if tendered_cents < total_cents:
        raise BadValue(
            _("The sale comes to %(total)s, but %(given)s was given. Ask for %(missing)s more.")
            % {
                "total": words.money(total_cents),
                "given": words.money(tendered_cents),
                "missing": words.money(total_cents - tendered_cents),
            },
            parameter="tendered_cents",
        )
    if tendered_cents - total_cents > CHANGE_CENTS_MAX:
        raise BadValue(
            _("%(given)s is a lot for a sale of %(total)s. Check the cash that was given.")
            % {"given": words.money(tendered_cents), "total": words.money(total_cents)},
            parameter="tendered_cents",
        )


def _discounted(lines: Sequence[LineWanted], discount_cents: int) -> list[LineWanted]:
    """Share a discount out over the lines by their amounts, to the last cent."""
    if not discount_cents:
        return list(lines)
    shares = split_cents(discount_cents, [line.amount_cents for line in lines])
    return [
        replace(line, discount_cents=line.discount_cents + share)
        for line, share in zip(lines, shares, strict=True)
    ]

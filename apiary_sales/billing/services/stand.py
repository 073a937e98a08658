"""Sales at the stand: goods, receipt and money in one go, and the way back."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any, ParamSpec

from django.db import transaction
from django.db.models import CharField
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, Payment, SaleMark, StandSale
from apiary_sales.billing.services import (
    credit_notes,
    invoices,
    line_taxes,
    stand_days,
    stand_marks,
    stand_money,
    stand_returns,
)
from apiary_sales.billing.services.payments import reverse as reverse_payment
from apiary_sales.billing.services.stand_marks import MarkFound
from apiary_sales.billing.services.stand_money import METHODS, PaymentMade
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.pricing.models import ProductTax
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.tax import TaxedAmount
from inventory.shared import acts, conventions, keys, words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.money import split_cents
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQuery
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import own_places
from inventory.stock.models import Place

__all__ = ["METHODS", "PaymentMade", "find", "sell", "take_back", "total_of"]

Sale = ParamSpec("Sale")
PIECES_MAX = 1_000
# A sale that is dated longer ago, without a sign that it can be, has a wrong clock.
DAYS_LATE_MAX = 60


def find(key: str) -> StandSale | None:
    """Return the sale already recorded with this idempotency key."""
    return StandSale.objects.filter(key=key).select_related("receipt").first()


def _first_one_counts(sell: Callable[Sale, StandSale]) -> Callable[Sale, StandSale]:
    """Let a sale be told which one was faster, when the same one was sent at the same moment."""

    @functools.wraps(sell)
    def selling(*args: Sale.args, **kwargs: Sale.kwargs) -> StandSale:
        try:
            return sell(*args, **kwargs)
        except AlreadyRecorded:
            # Asked again when what was begun is undone: the parts of a sale have keys of their own.
            _refuse_repeat(str(kwargs["key"]))
            raise

    return selling


@_first_one_counts
@acts.act
def sell(
    *,
    lines: Sequence[LineWanted],
    place: Place,
    payments: Sequence[PaymentMade],
    sold_by: Person,
    key: str,
    sent_by: Person | None = None,
    customer: Customer | None = None,
    device: str = "",
    sold_at: datetime | None = None,
    not_before: datetime | None = None,
    clock_said: datetime | None = None,
    discount_cents: int = 0,
    on_top_cents: int = 0,
    issued_on: date | None = None,
    asked: dict[str, Any] | None = None,
    source: str = StandSale.Source.OTHER,
    corrects: StandSale | None = None,
    marks: Sequence[MarkFound] = (),
    has_happened: bool = False,
    missing_reason: str = "",
) -> StandSale:
    """Sell goods from a place for money in hand: stock, receipt and payment, all or nothing.

    `discount_cents` is taken off the whole sale before tax, shared out over the lines;
    `on_top_cents` is what the buyer gave beyond the price. `sold_by` is the seller, `sent_by` who
    carries the sale to the books where that is another. A sale kept while there was no signal
    brings its own `sold_at`, by its device: it counts for no later than now and no earlier than
    `not_before`. Its taxes are of that day, and its receipt is dated today, or `issued_on` where it
    was written elsewhere. `corrects` is undone in the same act, by who may take it back.
    A sale that `has_happened` is not refused for want of goods, a hold, a price, money or a clock:
    it is booked as it was asked, and what does not fit is kept as its marks, with `marks` of the
    caller's own. Money that is missing is written off, for `missing_reason`. What it corrects
    stays in the books, and a mark says so, where only the office may take that back.
    Raises `BadValue` (or several), `AlreadyRecorded` with the sale made first when the key came
    before, and unless it has happened `NotEnoughStock`, `NotEnoughHoney`, `StockReserved`,
    `LotOnHold`, `NeedsApproval`.
    """
    _refuse_repeat(key)
    problems = Problems()
    if not has_happened:
        own_places.check(problems, "place", place, sold_by)
    _check(
        problems,
        lines,
        payments,
        key,
        discount_cents,
        on_top_cents,
        has_happened=has_happened,
    )
    said_at, sold_at = sold_at, _sold_at(sold_at, not_before)
    sold_on = timezone.localdate(sold_at)
    if corrects is not None:
        corrected_by = sent_by or sold_by
        try:
            stand_returns.check_may_take_back(corrects.receipt, corrected_by)
        except (stand_returns.NeedsApproval, BadValue):
            if not has_happened:
                raise
            marks = [*marks, _left_standing_mark(corrects)]
            corrects = None
        else:
            _undo_corrected(corrects, corrected_by=corrected_by, key=keys.part(key, "corrected"))
    fulfilment = orders.sell_now(
        customer=customer,
        lines=_discounted(lines, discount_cents),
        place=place,
        created_by=sold_by,
        key=keys.part(key, "goods"),
        sold_on=sold_on,
        sold_at=sold_at,
        has_happened=has_happened,
    )
    receipt = invoices.issue(
        order=fulfilment.order,
        issued_by=sold_by,
        key=keys.part(key, "receipt"),
        issued_on=issued_on,
        goods=fulfilment.just_made,
    )
    settled = stand_money.settle(
        payments,
        total_cents=receipt.total_cents,
        on_top_cents=on_top_cents,
        has_happened=has_happened,
    )
    on_top_entry = stand_money.receive(
        settled,
        receipt=receipt,
        customer=customer,
        received_on=sold_on,
        received_by=sold_by,
        key=key,
        missing_reason=missing_reason,
        may_be_tip=source != StandSale.Source.HONESTY_BOX,
    )
    clock_said = clock_said or said_at
    is_clock_right = clock_said is None or (
        abs(clock_said - sold_at) <= stand_marks.CLOCK_MAY_DIFFER
    )
    sale = StandSale.objects.create(
        receipt=receipt,
        place=place,
        source=source,
        sold_at=sold_at,
        clock_said=None if is_clock_right else clock_said,
        sold_by=sold_by,
        sent_by=sent_by or sold_by,
        device=device,
        key=key,
        asked=asked,
        on_top_cents=settled.on_top_cents,
        on_top_entry=on_top_entry,
    )
    if corrects is not None:
        corrects.corrected_by = sale
        corrects.save(update_fields=["corrected_by"])
        marks = [*marks, _corrected_mark(corrects)]
    shortages = stand_marks.shortages_since(fulfilment)
    if has_happened:
        marks = [
            *marks,
            *stand_marks.find(
                fulfilment=fulfilment,
                shortages=shortages,
                settled=settled,
                asked_on_top_cents=on_top_cents,
                total_cents=receipt.total_cents,
                place=place,
                sold_by=sold_by,
                sold_at=sold_at,
                clock_said=sale.clock_said,
            ),
        ]
    stand_marks.keep(sale, marks)
    stand_marks.keep_on_others(fulfilment, shortages)
    # Of a day that was closed before, its cash was counted already.
    stand_days.sale_came_in(sale=sale, corrected=corrects)
    return sale


def _sold_at(said: datetime | None, not_before: datetime | None) -> datetime:
    """Return when a sale counts as made: within what can be, whatever the clock of its device."""
    now = timezone.now()
    if said is None:
        return now
    if not_before is None and (now - said).days >= DAYS_LATE_MAX:
        return now
    earliest = min(not_before, now) if not_before else said
    return min(max(said, earliest), now)


def _undo_corrected(sale: StandSale, *, corrected_by: Person, key: str) -> None:
    take_back(
        receipt=sale.receipt,
        taken_by=corrected_by,
        key=key,
        reason=_("Corrected at the stand"),
        weighed_comes_back=True,
    )
    sale.refresh_from_db()


def _corrected_mark(sale: StandSale) -> MarkFound:
    with translation.override(conventions.current().language):
        text = _("It corrects receipt %(receipt)s of %(day)s.") % _named(sale)
    return MarkFound(SaleMark.Kind.CORRECTED, text)


def _left_standing_mark(sale: StandSale) -> MarkFound:
    with translation.override(conventions.current().language):
        text = _(
            "It was to correct receipt %(receipt)s of %(day)s, which only the office may undo. "
            "Both are in the books: undo the receipt if this sale takes its place."
        ) % _named(sale)
    return MarkFound(SaleMark.Kind.CORRECTED, text)


def _named(sale: StandSale) -> dict[str, Any]:
    return {
        "receipt": sale.receipt,
        "day": date_format(timezone.localdate(sale.sold_at)),
    }


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
    note = receipt.credit_notes.first()
    if note and not receipt.is_taken_back:
        raise NotAllowedNow(
            _(
                "Part of receipt %(receipt)s came back already, by credit note %(note)s. Take back "
                "the rest as a return."
            )
            % {"receipt": receipt, "note": note}
        )
    if note:
        raise NotAllowedNow(
            _("Receipt %(receipt)s already has a credit note: %(note)s.")
            % {"receipt": receipt, "note": note}
        )
    sale = receipt.stand_sale
    # Found before the credit note takes the payments off the receipt.
    paid = sale.payments
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
    for number, payment in enumerate(paid):
        if not Payment.objects.filter(reverses=payment).exists():
            reverse_payment(
                payment=payment,
                reversed_by=taken_by,
                key=keys.part(key, f"payment-{number}" if number else "payment"),
                reason=reason,
            )
    stand_money.give_on_top_back(sale, note.issued_on)
    sale.undone_on = note.issued_on
    sale.save(update_fields=["undone_on"])
    return note


_OF_KEY = PreparedQuery(
    lambda: StandSale.objects.filter(key=Given("key", CharField())).order_by().values_list("pk")
)


def _refuse_repeat(key: str) -> None:
    """Raise `AlreadyRecorded` when this sale came before; its receipt is written with it."""
    if _OF_KEY.finds(key=key):
        raise AlreadyRecorded(_("This sale was recorded already."), made=find(key))


def _check(
    problems: Problems,
    lines: Sequence[LineWanted],
    paid: Sequence[PaymentMade],
    key: str,
    discount_cents: int,
    on_top_cents: int,
    *,
    has_happened: bool,
) -> None:
    if not key or len(key) > keys.LENGTH_MAX:
        problems.add("key", _("Part of the sale is missing. Open the stand page again."))
    if not lines:
        problems.add("lines", _("The sale is empty. Choose what was sold."))
    for index, line in enumerate(lines):
        _check_line(problems, index, line)
    if not paid and not has_happened:
        problems.add("payments", _("Choose how it was paid: cash, card or check."))
    stand_money.check(problems, paid, on_top_cents, has_happened=has_happened)
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


def _discounted(lines: Sequence[LineWanted], discount_cents: int) -> list[LineWanted]:
    """Share a discount out over the lines by their amounts, to the last cent."""
    if not discount_cents:
        return list(lines)
    shares = split_cents(discount_cents, [line.amount_cents for line in lines])
    return [
        replace(line, discount_cents=line.discount_cents + share)
        for line, share in zip(lines, shares, strict=True)
    ]

"""Bills of suppliers: entered, paid, and undone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    Entry,
    ExpenseCategory,
    SupplierAllocation,
    SupplierBill,
    SupplierBillLine,
    SupplierPayment,
)
from apiary_sales.billing.services import book, money_out, season_costs, undoing
from apiary_sales.billing.services.book import Account, BookLine
from inventory.bottling.models import GoodsReceipt, PartReceipt
from inventory.bottling.services import costs, delivery_corrections
from inventory.shared import checks, conventions, keys, words
from inventory.shared.errors import CannotReverse, Problems, parameters_named
from inventory.shared.money import cents_half_up
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Lot, PostingLine, Supplier

LINES_MAX = 100
# Of an expense: what deliveries were billed beyond their cost in the books.
PRICE_DIFFERENCE = "price_difference"
# A bill is paid within a year; a later day is a slip of the finger.
DUE_AFTER_MAX = timedelta(days=366)

Delivery = PartReceipt | GoodsReceipt | Lot


@dataclass(frozen=True)
class LineBilled:
    """One amount of a bill: for a delivery that came in, or for an expense of a category.

    With `takes_over_cost` the delivery costs what the bill says from now on; without, the
    difference is an expense. `season` puts an expense into the cost of that season's honey.
    """

    amount_cents: int
    delivery: Delivery | None = None
    takes_over_cost: bool = False
    category: str = ""
    description: str = ""
    season: int | None = None


@dataclass(frozen=True)
class BillPaid:
    """So much of a payment for one bill, and the discount taken with it."""

    bill: SupplierBill
    amount_cents: int
    discount_cents: int = 0


@transaction.atomic
def enter(
    *,
    supplier: Supplier,
    number: str,
    billed_on: date,
    lines: Sequence[LineBilled],
    entered_by: Person,
    key: str,
    due_on: date | None = None,
    tax_cents: int = 0,
    discount_percent: Decimal = Decimal(0),
    discount_until: date | None = None,
    total_cents: int | None = None,
    note: str = "",
) -> SupplierBill:
    """Enter a bill of a supplier, so that it is owed, and return it.

    Due after the supplier's terms where no day is given. `total_cents` is the total printed on the
    bill; where it is given, the lines and the tax must come to it. A delivery without a known cost
    costs what the bill says. Raises `BadValue` for a number that was entered before, for a
    delivery of another supplier or that has a bill, and for figures that can't be;
    `AlreadyRecorded`.
    """
    supplier = _lock(supplier)
    refuse_repeat(SupplierBill, key)
    due_on = due_on or billed_on + timedelta(days=supplier.terms_days)
    lines_cents = sum(line.amount_cents for line in lines)
    problems = Problems()
    _check_number(problems, supplier, number)
    checks.check_day(problems, "billed_on", billed_on)
    if not billed_on <= due_on <= billed_on + DUE_AFTER_MAX:
        problems.add("due_on", _("Enter a day from the date of the bill to a year after it."))
    _check_discount(problems, billed_on, discount_percent, discount_until)
    _check_lines(problems, supplier, lines)
    if tax_cents < 0 or tax_cents > lines_cents:
        problems.add("tax_cents", _("Enter the tax that is on the bill, or 0."))
    if total_cents is not None and total_cents != lines_cents + tax_cents:
        problems.add(
            "total_cents",
            _(
                "The lines and the tax come to %(sum)s, and the bill says %(total)s. Check the "
                "amounts."
            )
            % {"sum": words.money(lines_cents + tax_cents), "total": words.money(total_cents)},
        )
    money_out.check_amount(problems, "lines", lines_cents + tax_cents)
    problems.raise_any()
    rows = [_row(line) for line in lines]
    entry = book.enter(
        kind=Entry.Kind.BILL,
        lines=_entry_lines(supplier, rows, tax_cents),
        happened_on=billed_on,
    )
    bill = SupplierBill(
        supplier=supplier,
        number=" ".join(number.split()),
        billed_on=billed_on,
        due_on=due_on,
        discount_percent=discount_percent,
        discount_until=discount_until,
        currency=conventions.current().currency,
        tax_cents=tax_cents,
        total_cents=lines_cents + tax_cents,
        open_cents=lines_cents + tax_cents,
        note=note.strip(),
        entry=entry,
        entered_by=entered_by,
        idempotency_key=key,
    )
    checks.save_checked(bill)
    for index, (line, row) in enumerate(zip(lines, rows, strict=True)):
        row.bill = bill
        with parameters_named(season=f"lines.{index}.season"):
            row.season_expense = season_costs.feed(
                season=line.season,
                category=line.category,
                amount_cents=line.amount_cents,
                note=f"{supplier.name}, {bill.number}",
                key=keys.part(key, f"season-{index}"),
            )
        checks.save_checked(row)
        if line.delivery is not None and row.cleared_cents != line.delivery.cost_cents:
            part_key = keys.part(key, f"cost-{index}")
            _take_over(bill, line.delivery, line.amount_cents, entered_by, part_key)
    return bill


@transaction.atomic
def undo(
    *,
    bill: SupplierBill,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date | None = None,
) -> SupplierBill:
    """Undo a bill by the opposite entry; its deliveries wait for another bill.

    What was taken over into a cost stays there. Raises `CannotReverse` for one that was undone or
    of which something is paid, `BadValue`, `AlreadyRecorded`.
    """
    _lock(bill.supplier)
    bill = _locked_bill(bill)
    day = undoing.day_of(undone_on)
    undoing.check(bill, key=key, reason=reason, undone_on=day)
    if bill.open_cents != bill.total_cents:
        raise CannotReverse(
            _("Something is paid on bill %(bill)s. Undo that payment first.") % {"bill": bill}
        )
    undoing.write(bill, undone_by=undone_by, key=key, reason=reason, undone_on=day)
    bill.open_cents = 0
    bill.save()
    for line in bill.lines.select_related("season_expense"):
        season_costs.take_out(line.season_expense)
    return bill


@transaction.atomic
def pay(
    *,
    supplier: Supplier,
    shares: Sequence[BillPaid],
    paid_by: str,
    recorded_by: Person,
    key: str,
    paid_on: date | None = None,
    reference: str = "",
    note: str = "",
) -> SupplierPayment:
    """Pay one or more bills of a supplier, in whole or in part, and return the payment.

    Its amount is that of its shares. A discount is taken up to what the bill offers, until its
    day. Raises `BadValue` for a share of more than is open, `AlreadyRecorded`.
    """
    paid_on = paid_on or timezone.localdate()
    supplier = _lock(supplier)
    refuse_repeat(SupplierPayment, key, message=_("This payment was recorded already."))
    bills = _lock_bills(shares)
    amount_cents = sum(share.amount_cents for share in shares)
    discount_cents = sum(share.discount_cents for share in shares)
    problems = Problems()
    checks.check_day(problems, "paid_on", paid_on)
    money_out.check_paid_by(problems, paid_by)
    if not shares:
        problems.add("shares", _("Choose the bill that is paid."))
    named: set[int] = set()
    for index, share in enumerate(shares):
        if share.bill.pk in named:
            problems.add(f"shares.{index}.bill", _("Name each bill once."))
        named.add(share.bill.pk)
        _check_share(problems, index, share, bills[share.bill.pk], supplier, paid_on)
    problems.raise_any()
    entry = book.enter(
        kind=Entry.Kind.BILL_PAYMENT,
        lines=[
            BookLine(Account.PAYABLE, amount_cents + discount_cents, supplier=supplier),
            BookLine(money_out.account_of(paid_by), -amount_cents),
            BookLine(Account.DISCOUNTS, -discount_cents, supplier=supplier),
        ],
        happened_on=paid_on,
    )
    payment = SupplierPayment(
        supplier=supplier,
        paid_on=paid_on,
        paid_by=paid_by,
        amount_cents=amount_cents,
        reference=reference.strip(),
        note=note.strip(),
        entry=entry,
        entered_by=recorded_by,
        idempotency_key=key,
    )
    checks.save_checked(payment)
    for share in shares:
        bill = bills[share.bill.pk]
        SupplierAllocation.objects.create(
            payment=payment,
            bill=bill,
            amount_cents=share.amount_cents,
            discount_cents=share.discount_cents,
        )
        bill.open_cents -= share.amount_cents + share.discount_cents
        bill.save(update_fields=["open_cents"])
    return payment


@transaction.atomic
def undo_payment(
    *,
    payment: SupplierPayment,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date | None = None,
) -> SupplierPayment:
    """Undo a payment by the opposite entry; its bills are open again, discounts included.

    Raises `CannotReverse` for one that was undone, `BadValue`, `AlreadyRecorded`.
    """
    _lock(payment.supplier)
    found = SupplierPayment.objects.select_for_update(of=("self",), no_key=True)
    payment = found.select_related("entry", "supplier").get(pk=payment.pk)
    day = undoing.day_of(undone_on)
    undoing.check(payment, key=key, reason=reason, undone_on=day)
    undoing.write(payment, undone_by=undone_by, key=key, reason=reason, undone_on=day)
    payment.save()
    for share in payment.allocations.select_related("bill").order_by("bill"):
        bill = _locked_bill(share.bill)
        bill.open_cents += share.amount_cents + share.discount_cents
        bill.save(update_fields=["open_cents"])
    return payment


def discount_cents(bill: SupplierBill, on: date) -> int:
    """Return the discount that is left to take when all of a bill is paid on a day."""
    if bill.discount_until is None or on > bill.discount_until:
        return 0
    offered = cents_half_up(bill.discount_percent * bill.total_cents / 10_000)
    standing = bill.allocations.filter(payment__undone_entry=None)
    taken: int = standing.aggregate(cents=Sum("discount_cents", default=0))["cents"]
    return min(max(0, offered - taken), bill.open_cents)


def _lock(supplier: Supplier) -> Supplier:
    """Lock a supplier: what is owed to one is changed by one person after the other."""
    return Supplier.objects.select_for_update(no_key=True).get(pk=supplier.pk)


def _locked_bill(bill: SupplierBill) -> SupplierBill:
    found = SupplierBill.objects.select_for_update(of=("self",), no_key=True)
    return found.select_related("entry", "supplier").get(pk=bill.pk)


def _lock_bills(shares: Sequence[BillPaid]) -> dict[int, SupplierBill]:
    rows = SupplierBill.objects.select_for_update(of=("self",), no_key=True).order_by("pk")
    found = rows.filter(pk__in={share.bill.pk for share in shares})
    return {bill.pk: bill for bill in found}


def _check_number(problems: Problems, supplier: Supplier, number: str) -> None:
    number = " ".join(number.split())
    same = supplier.bills.filter(number__iexact=number, undone_entry=None).first()
    if not number:
        problems.add("number", _("Enter the number that the supplier printed on the bill."))
    elif same is not None:
        problems.add(
            "number",
            _("Bill %(number)s of %(supplier)s, of %(day)s, is entered already.")
            % {
                "number": same.number,
                "supplier": supplier.name,
                "day": date_format(same.billed_on),
            },
        )


def _check_discount(
    problems: Problems, billed_on: date, percent: Decimal, until: date | None
) -> None:
    if not 0 <= percent < 100:
        problems.add("discount_percent", _("Enter 0 percent or more, and less than 100."))
    elif percent and (until is None or until < billed_on):
        problems.add("discount_until", _("Enter the last day on which the discount may be taken."))
    elif until is not None and not percent:
        problems.add("discount_percent", _("Enter the discount, or leave its last day empty."))


def _check_lines(problems: Problems, supplier: Supplier, lines: Sequence[LineBilled]) -> None:
    if not 1 <= len(lines) <= LINES_MAX:
        problems.add("lines", _("Enter at least one amount of the bill."))
    seen: set[tuple[str, int]] = set()
    for index, line in enumerate(lines):
        at = f"lines.{index}.delivery"
        if line.delivery is None:
            money_out.check_amount(problems, f"lines.{index}.amount_cents", line.amount_cents)
            if line.category not in ExpenseCategory.values:
                problems.add(f"lines.{index}.category", _("Choose what it was for."))
            season_costs.check(problems, f"lines.{index}.season", line.season, line.category)
            continue
        if not 0 <= line.amount_cents <= money_out.AMOUNT_CENTS_MAX:
            problems.add(f"lines.{index}.amount_cents", _("Enter an amount from 0 to a million."))
        if line.category or line.season:
            problems.add(
                f"lines.{index}.category",
                _("A delivery has its cost from stock. Leave the category and season empty."),
            )
        which = (type(line.delivery).__name__, line.delivery.pk)
        if which in seen:
            problems.add(at, _("This delivery is on the bill twice."))
        seen.add(which)
        _check_delivery(problems, at, supplier, line.delivery)


def _check_delivery(
    problems: Problems, parameter: str, supplier: Supplier, delivery: Delivery
) -> None:
    name = _name_of(delivery)
    if delivery.supplier_id not in (None, supplier.pk):
        problems.add(parameter, _("%(delivery)s came from another supplier.") % {"delivery": name})
    elif isinstance(delivery, Lot) and (delivery.kind != Lot.Kind.BOUGHT or delivery.owner_id):
        problems.add(parameter, _("%(delivery)s was not bought.") % {"delivery": name})
    elif _is_undone(delivery):
        problems.add(parameter, _("%(delivery)s was undone.") % {"delivery": name})
    billed = delivery.bill_lines.filter(bill__undone_entry=None).select_related("bill").first()
    if billed is not None:
        problems.add(
            parameter,
            _("%(delivery)s is on bill %(bill)s already.")
            % {"delivery": name, "bill": billed.bill},
        )


def _is_undone(delivery: Delivery) -> bool:
    if not isinstance(delivery, Lot):
        return hasattr(delivery.posting, "reversed_by")
    came = PostingLine.objects.filter(lot=delivery, posting__kind="purchase")
    return came.filter(posting__reversed_by__isnull=False).exists()


def _check_share(
    problems: Problems,
    index: int,
    share: BillPaid,
    bill: SupplierBill,
    supplier: Supplier,
    paid_on: date,
) -> None:
    if bill.supplier_id != supplier.pk:
        problems.add(
            f"shares.{index}.bill",
            _("Bill %(bill)s is not one of %(supplier)s.") % {"bill": bill, "supplier": supplier},
        )
        return
    offered = discount_cents(bill, paid_on)
    if not 0 <= share.discount_cents <= offered:
        problems.add(
            f"shares.{index}.discount_cents",
            _("Bill %(bill)s allows a discount of %(offered)s on %(day)s.")
            % {"bill": bill, "offered": words.money(offered), "day": date_format(paid_on)},
        )
    if paid_on < bill.billed_on:
        problems.add("paid_on", _("This day is before the bill. Check the date."))
    if share.amount_cents <= 0:
        problems.add(f"shares.{index}.amount_cents", _("Enter an amount above zero."))
    elif share.amount_cents + share.discount_cents > bill.open_cents:
        problems.add(
            f"shares.{index}.amount_cents",
            _(
                "You entered %(asked)s for bill %(bill)s, which has %(open)s left to pay. Enter "
                "an amount of up to %(open)s, discount included."
            )
            % {
                "asked": words.money(share.amount_cents + share.discount_cents),
                "bill": bill,
                "open": words.money(bill.open_cents),
            },
        )


def _row(line: LineBilled) -> SupplierBillLine:
    """Return the line as it is kept, without its bill."""
    delivery = line.delivery
    row = SupplierBillLine(amount_cents=line.amount_cents, category=line.category)
    if delivery is None:
        label = str(ExpenseCategory(line.category).label)
        row.description = line.description.strip() or label[:1].upper() + label[1:]
        return row
    row.description = line.description.strip() or _name_of(delivery)
    if isinstance(delivery, PartReceipt):
        row.part_receipt = delivery
    elif isinstance(delivery, GoodsReceipt):
        row.goods_receipt = delivery
    else:
        row.honey_lot = delivery
    if delivery.cost_cents is None or line.takes_over_cost:
        row.cleared_cents = line.amount_cents
    else:
        row.cleared_cents = delivery.cost_cents
    return row


def _name_of(delivery: Delivery) -> str:
    if isinstance(delivery, PartReceipt):
        return f"{delivery.part.name}, {words.pieces(delivery.pieces)}"
    if isinstance(delivery, GoodsReceipt):
        item = delivery.product.item
        much = (
            words.weight(delivery.quantity) if item.is_weighed else words.pieces(delivery.quantity)
        )
        return f"{delivery.product.name}, {much}"
    return _("Honey, lot %(lot)s") % {"lot": delivery.code}


def _entry_lines(
    supplier: Supplier, rows: Sequence[SupplierBillLine], tax_cents: int
) -> list[BookLine]:
    lines = [
        BookLine(Account.NOT_BILLED, row.cleared_cents, supplier=supplier)
        if row.is_delivery
        else BookLine(Account.EXPENSES, row.amount_cents, supplier=supplier, detail=row.category)
        for row in rows
    ]
    lines += [
        BookLine(Account.EXPENSES, row.difference_cents, supplier=supplier, detail=PRICE_DIFFERENCE)
        for row in rows
    ]
    total_cents = sum(row.amount_cents for row in rows) + tax_cents
    return [
        *lines,
        BookLine(Account.PURCHASE_TAX, tax_cents, supplier=supplier),
        BookLine(Account.PAYABLE, -total_cents, supplier=supplier),
    ]


def _take_over(
    bill: SupplierBill, delivery: Delivery, cost_cents: int, person: Person, key: str
) -> None:
    """Let a delivery cost what its bill says, as a correction of the delivery."""
    reason = _("Bill %(number)s") % {"number": bill.number}
    with parameters_named(cost_cents="lines"):
        if isinstance(delivery, PartReceipt):
            delivery_corrections.correct_parts(
                receipt=delivery, cost_cents=cost_cents, recorded_by=person, key=key, reason=reason
            )
        elif isinstance(delivery, GoodsReceipt):
            delivery_corrections.correct_goods(
                receipt=delivery, cost_cents=cost_cents, recorded_by=person, key=key, reason=reason
            )
        else:
            costs.set_lot_cost(lot=delivery, cost_cents=cost_cents)

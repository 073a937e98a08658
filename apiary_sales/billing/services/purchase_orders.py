"""Parts and goods ordered from suppliers, and received for their orders."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import PurchaseOrder, PurchaseOrderLine, PurchaseReceipt
from inventory.bottling.models import GoodsReceipt, PackagingPart, PartReceipt, Product
from inventory.bottling.services import goods, parts
from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.money import cents_half_even, share_cents
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.shared.weights import unit_grams
from inventory.stock import rules
from inventory.stock.models import Place, Supplier
from inventory.stock.services import ledger, numbers

LINES_MAX = 100
PRICE_MAX = Decimal(100_000)
FREIGHT_CENTS_MAX = 100_000_000


@dataclass(frozen=True)
class LineOrdered:
    """So much of a part or of goods, in pieces or grams, at a price a piece or a pound."""

    thing: PackagingPart | Product
    quantity: int
    unit_price: Decimal
    supplier_code: str = ""


@transaction.atomic
def place(
    *,
    supplier: Supplier,
    lines: Sequence[LineOrdered],
    ordered_by: Person,
    key: str,
    ordered_on: date | None = None,
    expected_on: date | None = None,
    freight_cents: int = 0,
    note: str = "",
) -> PurchaseOrder:
    """Write down an order to a supplier under the next number, and return it; stock stays as it is.

    Raises `BadValue` for a line that cannot be, several at once as `SeveralProblems`,
    `AlreadyRecorded`.
    """
    ordered_on = ordered_on or timezone.localdate()
    supplier = Supplier.objects.select_for_update(no_key=True).get(pk=supplier.pk)
    refuse_repeat(PurchaseOrder, key)
    problems = Problems()
    checks.check_day(problems, "ordered_on", ordered_on)
    if not supplier.is_active:
        problems.add("supplier", _("%(name)s is out of use.") % {"name": supplier.name})
    _check(problems, lines, ordered_on, expected_on, freight_cents)
    problems.raise_any()
    year = ordered_on.year
    number = f"{PurchaseOrder.PREFIX}{year % 100:02d}-"
    order = PurchaseOrder(
        number=f"{number}{numbers.next_number(f'purchase-order-{year}'):04d}",
        supplier=supplier,
        ordered_on=ordered_on,
        expected_on=expected_on,
        freight_cents=freight_cents,
        note=note.strip(),
        ordered_by=ordered_by,
        idempotency_key=key,
    )
    checks.save_checked(order)
    _write_lines(order, lines)
    return order


@transaction.atomic
def change(
    *,
    order: PurchaseOrder,
    lines: Sequence[LineOrdered],
    expected_on: date | None = None,
    freight_cents: int = 0,
    note: str = "",
) -> PurchaseOrder:
    """Replace the lines of an order of which nothing came in yet, and what is said beside them.

    Raises `NotAllowedNow` where something came in or the order is closed, `BadValue`.
    """
    order = _locked(order)
    _check_open(order)
    if PurchaseReceipt.objects.filter(line__order=order).exists():
        raise NotAllowedNow(
            _(
                "Something came in for order %(order)s, so its lines stay as they are. Close it "
                "and place another order for what differs."
            )
            % {"order": order}
        )
    problems = Problems()
    _check(problems, lines, order.ordered_on, expected_on, freight_cents)
    problems.raise_any()
    order.expected_on, order.freight_cents, order.note = expected_on, freight_cents, note.strip()
    checks.save_checked(order)
    order.lines.all().delete()
    _write_lines(order, lines)
    return order


@transaction.atomic
def close(*, order: PurchaseOrder, reason: str = "") -> PurchaseOrder:
    """Expect no more of an order: it is closed, or cancelled where nothing came in.

    Raises `BadValue` without a reason while something is missing, `NotAllowedNow` where it is
    closed already.
    """
    order = _locked(order)
    _check_open(order)
    lines = list(order.lines.with_received())
    is_missing = any(line.missing for line in lines)
    if is_missing and not reason.strip():
        raise BadValue(_("Say why the rest is no longer expected."), parameter="reason")
    came = any(line.received for line in lines)
    order.status = PurchaseOrder.Status.CLOSED if came else PurchaseOrder.Status.CANCELLED
    order.closed_reason = reason.strip()
    checks.save_checked(order)
    return order


@transaction.atomic
def receive(
    *,
    line: PurchaseOrderLine,
    place: Place,
    quantity: int,
    received_on: date,
    recorded_by: Person,
    key: str,
    cost_cents: int | None = None,
    maker_lot: str = "",
    best_by: date | None = None,
    more_is_right: bool = False,
) -> PurchaseReceipt:
    """Bring in what came for a line of an order, in pieces or grams, and return its receipt.

    It is received as parts and goods always are. Without `cost_cents` it costs what was ordered,
    with its share of the freight. `more_is_right` confirms that more came than was ordered.
    Raises `NotAllowedNow` for an order that is closed, `BadValue` (a question at `more_is_right`),
    `AlreadyRecorded`.
    """
    order = _locked(line.order)
    lines = order.lines.with_received().select_related("part__item", "product__item")
    line = lines.get(pk=line.pk)
    # An act that is sent again is told so, and not asked about its own goods.
    ledger.refuse_repeat(key)
    _check_open(order)
    if line.received + quantity > line.quantity and not more_is_right:
        raise BadValue(_asked_about_more(line, quantity), parameter="more_is_right")
    if cost_cents is None:
        cost_cents = cost_of(line, quantity)
    receipt = PurchaseReceipt(line=line)
    if line.product is None:
        assert line.part is not None  # a constraint has one of the two
        receipt.part_receipt = parts.receive(
            part=line.part,
            pieces=quantity,
            place=place,
            cost_cents=cost_cents,
            supplier=order.supplier.name,
            received_on=received_on,
            recorded_by=recorded_by,
            key=key,
        )
    else:
        receipt.goods_receipt = goods.receive(
            product=line.product,
            quantity=quantity,
            maker_lot=maker_lot,
            best_by=best_by,
            place=place,
            cost_cents=cost_cents,
            supplier=order.supplier.name,
            received_on=received_on,
            recorded_by=recorded_by,
            key=key,
        )
    checks.save_checked(receipt)
    return receipt


@transaction.atomic
def link(
    *,
    line: PurchaseOrderLine,
    part_receipt: PartReceipt | None = None,
    goods_receipt: GoodsReceipt | None = None,
) -> PurchaseReceipt:
    """Say that a delivery, recorded without the order, came for a line of it.

    Raises `BadValue` for a delivery of something else, that has an order or that was undone.
    """
    order = _locked(line.order)
    line = order.lines.get(pk=line.pk)
    receipt = part_receipt or goods_receipt
    parameter = "part_receipt" if part_receipt else "goods_receipt"
    problems = Problems()
    is_same = (
        part_receipt.part_id == line.part_id
        if part_receipt
        else goods_receipt is not None and goods_receipt.product_id == line.product_id
    )
    if receipt is None or not is_same:
        problems.add(parameter, _("Choose a delivery of %(thing)s.") % {"thing": line.thing.name})
    elif hasattr(receipt, "purchase_receipt"):
        problems.add(parameter, _("This delivery is linked to an order already."))
    elif hasattr(receipt.posting, "reversed_by"):
        problems.add(parameter, _("This was undone already."))
    problems.raise_any()
    linked = PurchaseReceipt(line=line, part_receipt=part_receipt, goods_receipt=goods_receipt)
    checks.save_checked(linked)
    return linked


def amount_of(thing: PackagingPart | Product, quantity: int, unit_price: Decimal) -> int:
    """Return what so many pieces or grams cost, in cents, half to the even."""
    if thing.item.is_weighed:
        return cents_half_even(unit_price * quantity / unit_grams())
    return cents_half_even(unit_price * quantity)


def cost_of(line: PurchaseOrderLine, quantity: int) -> int:
    """Return what so much of a line costs as it was ordered, with its share of the freight."""
    goods_cents = sum(each.amount_cents for each in line.order.lines.all())
    freight_cents = (
        share_cents(line.order.freight_cents, line.amount_cents, goods_cents) if goods_cents else 0
    )
    return share_cents(line.amount_cents + freight_cents, quantity, line.quantity)


def _asked_about_more(line: PurchaseOrderLine, quantity: int) -> str:
    ordered, after = line.item.in_words_apart(line.quantity, line.received + quantity)
    return _(
        "%(ordered)s of %(thing)s are ordered, and with these %(after)s would have come. Check the "
        "number, or confirm that so much came."
    ) % {"ordered": ordered, "thing": line.thing.name, "after": after}


def _locked(order: PurchaseOrder) -> PurchaseOrder:
    found = PurchaseOrder.objects.select_for_update(of=("self",), no_key=True)
    return found.select_related("supplier").get(pk=order.pk)


def _check_open(order: PurchaseOrder) -> None:
    if not order.is_open:
        raise NotAllowedNow(
            _("Order %(order)s is %(status)s.")
            % {"order": order, "status": order.get_status_display()}
        )


def _check(
    problems: Problems,
    lines: Sequence[LineOrdered],
    ordered_on: date,
    expected_on: date | None,
    freight_cents: int,
) -> None:
    if not lines:
        problems.add("lines", _("Enter at least one thing to order."))
    elif len(lines) > LINES_MAX:
        problems.add(
            "lines", _("An order has at most %(most)s lines. Place two.") % {"most": LINES_MAX}
        )
    if expected_on and expected_on < ordered_on:
        problems.add("expected_on", _("This day is before the order. Check the date."))
    if not 0 <= freight_cents <= FREIGHT_CENTS_MAX:
        problems.add("freight_cents", _("Enter an amount from 0 to a million."))
    for index, line in enumerate(lines):
        if isinstance(line.thing, Product) and line.thing.kind != Product.Kind.GOODS:
            problems.add(
                f"lines.{index}.thing",
                _("%(product)s is not among the other goods. Choose another.")
                % {"product": line.thing.name},
            )
        rules.check_quantity(problems, f"lines.{index}.quantity", line.thing.item, line.quantity)
        if not 0 <= line.unit_price <= PRICE_MAX:
            problems.add(
                f"lines.{index}.unit_price", _("Enter a price from 0 to a hundred thousand.")
            )


def _write_lines(order: PurchaseOrder, lines: Sequence[LineOrdered]) -> None:
    for line in lines:
        checks.save_checked(
            PurchaseOrderLine(
                order=order,
                part=line.thing if isinstance(line.thing, PackagingPart) else None,
                product=line.thing if isinstance(line.thing, Product) else None,
                supplier_code=line.supplier_code.strip(),
                quantity=line.quantity,
                unit_price=line.unit_price,
                amount_cents=amount_of(line.thing, line.quantity, line.unit_price),
            )
        )

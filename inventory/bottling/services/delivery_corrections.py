"""Parts and goods that came in and were written down wrong are put right, with both states kept."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import GoodsReceipt, PartReceipt, ReceiptCorrection
from inventory.bottling.services import costs, part_closings
from inventory.bottling.services.parts import COST_CENTS_MAX
from inventory.shared import checks
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules
from inventory.stock.models import Lot, Posting, Supplier
from inventory.stock.services import ledger, lot_corrections, moments, stores, suppliers


@transaction.atomic
def correct_parts(
    *,
    receipt: PartReceipt,
    recorded_by: Person,
    key: str,
    reason: str,
    pieces: int | None = None,
    cost_cents: int | None = None,
    supplier: str | None = None,
    received_on: date | None = None,
) -> PartReceipt:
    """Put right what was said of parts that came in; only the difference is posted.

    What is None stays as it is. The average cost of the part follows; runs that used it keep the
    cost that they were recorded with. Where fewer came than were used, the rest is to be settled.
    Raises `BadValue` without a reason or for figures that can't be, `NotAllowedNow` where it was
    undone or where nothing differs, `AlreadyRecorded`.
    """
    ledger.lock_items([receipt.part.item])
    refuse_repeat(ReceiptCorrection, key, made=receipt)
    receipt = PartReceipt.objects.select_related("part__item", "place", "posting").get(
        pk=receipt.pk
    )
    problems = Problems()
    if pieces is not None:
        rules.check_pieces(problems, "pieces", pieces)
    _check(problems, reason, cost_cents, received_on)
    problems.raise_any()
    before = _figures(receipt)
    wanted = receipt.pieces if pieces is None else pieces
    posting = _post(receipt, receipt.pieces, wanted, received_on, recorded_by, key, reason)
    receipt.pieces = wanted
    _set(receipt, cost_cents, supplier, received_on)
    part_closings.open_receipt(receipt)
    _keep(before, receipt, posting, recorded_by, key, reason, part_receipt=receipt)
    return receipt


@transaction.atomic
def correct_goods(
    *,
    receipt: GoodsReceipt,
    recorded_by: Person,
    key: str,
    reason: str,
    quantity: int | None = None,
    cost_cents: int | None = None,
    supplier: str | None = None,
    received_on: date | None = None,
) -> GoodsReceipt:
    """Put right what was said of goods that came in; only the difference is posted.

    What is None stays as it is; `quantity` is pieces or grams. The lot and the gift boxes with it
    cost what follows from that; what was sold or made of it before keeps its cost. Raises
    `BadValue` without a reason or for figures that can't be, `NotEnoughStock` for less than has
    left already, `NotAllowedNow` where it was undone or where nothing differs, `AlreadyRecorded`.
    """
    ledger.lock_items([receipt.product.item])
    refuse_repeat(ReceiptCorrection, key, made=receipt)
    found = GoodsReceipt.objects.select_related("product__item", "place", "posting")
    receipt = found.get(pk=receipt.pk)
    problems = Problems()
    if quantity is not None:
        rules.check_quantity(problems, "quantity", receipt.product.item, quantity)
    _check(problems, reason, cost_cents, received_on)
    problems.raise_any()
    before = _figures(receipt)
    lot = Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=receipt.lot_id)
    lots_before = {each.pk: lot_corrections.figures(each) for each in (lot, *lot.descendants())}
    wanted = receipt.quantity if quantity is None else quantity
    with stores.refused_at("quantity"):
        posting = _post(receipt, receipt.quantity, wanted, received_on, recorded_by, key, reason)
    more, cents = wanted - receipt.quantity, receipt.cost_cents
    receipt.quantity = wanted
    _set(receipt, cost_cents, supplier, received_on)
    lot.quantity_made += more
    if lot.cost_cents is not None:
        lot.cost_cents += receipt.cost_cents - cents
    deliveries = GoodsReceipt.objects.filter(lot=lot, posting__reversed_by__reverses=None)
    lot.made_on = min(deliveries.values_list("received_on", flat=True))
    checks.save_checked(lot)
    costs.work_out_again([lot])
    lot_corrections.work_out_again(
        lots_before, posting=posting, person=recorded_by, reason=reason.strip()
    )
    _keep(before, receipt, posting, recorded_by, key, reason, goods_receipt=receipt)
    return receipt


def _check(
    problems: Problems, reason: str, cost_cents: int | None, received_on: date | None
) -> None:
    if not reason.strip():
        problems.add("reason", _("Say what was wrong."))
    if cost_cents is not None and not 0 <= cost_cents <= COST_CENTS_MAX:
        problems.add("cost_cents", _("Enter what all of it cost, from 0 to a million."))
    checks.check_day(problems, "received_on", received_on)


def _figures(receipt: PartReceipt | GoodsReceipt) -> dict[str, Any]:
    quantity = receipt.pieces if isinstance(receipt, PartReceipt) else receipt.quantity
    return {
        "quantity": quantity,
        "cost_cents": receipt.cost_cents,
        "supplier": receipt.supplier.name if receipt.supplier else "",
        "received_on": str(receipt.received_on),
    }


def _post(
    receipt: PartReceipt | GoodsReceipt,
    known: int,
    wanted: int,
    received_on: date | None,
    recorded_by: Person,
    key: str,
    reason: str,
) -> Posting | None:
    """Post the difference and return the correction; the receipt gets the posting it has now."""
    posting = receipt.posting
    if Posting.objects.filter(reverses=posting).exists():
        raise NotAllowedNow(_("This was undone already."))
    is_moved = received_on is not None and received_on != receipt.received_on
    if wanted == known and not is_moved:
        return None
    moment = None
    if is_moved:
        moment = moments.of_arrival(received_on, receipt.place) or timezone.now()
    lines = [
        ledger.Line(line.item, line.place, line.lot, wanted if line.quantity > 0 else -wanted)
        for line in ledger.effective_lines(posting)
    ]
    made = ledger.correct(
        posting=posting,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=reason.strip(),
        occurred_at=moment,
        may_not_lack=[receipt.product.item] if isinstance(receipt, GoodsReceipt) else [],
    )
    receipt.posting = made or posting
    return ledger.find(key)


def _set(
    receipt: PartReceipt | GoodsReceipt,
    cost_cents: int | None,
    supplier: str | None,
    received_on: date | None,
) -> None:
    if cost_cents is not None:
        receipt.cost_cents = cost_cents
    if supplier is not None:
        receipt.supplier = suppliers.named(supplier, kind=Supplier.Kind.PARTS)
    receipt.received_on = received_on or receipt.received_on
    checks.save_checked(receipt)


def _keep(
    before: Mapping[str, Any],
    receipt: PartReceipt | GoodsReceipt,
    posting: Posting | None,
    recorded_by: Person,
    key: str,
    reason: str,
    **which: Any,
) -> None:
    after = _figures(receipt)
    differing = [name for name in after if after[name] != before[name]]
    if not differing:
        raise NotAllowedNow(_("Nothing is different from what was recorded. Change what is wrong."))
    ReceiptCorrection.objects.create(
        **which,
        posting=posting,
        before={name: before[name] for name in differing},
        after={name: after[name] for name in differing},
        reason=reason.strip(),
        corrected_by=recorded_by,
        idempotency_key=key,
    )

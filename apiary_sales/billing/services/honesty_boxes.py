"""Honesty boxes: set up at a place, and counted. What is missing from the shelf was sold."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing import box_sums
from apiary_sales.billing.models import (
    Entry,
    HonestyBox,
    HonestyCount,
    HonestyCountLine,
    Payment,
    StandSale,
)
from apiary_sales.billing.services import book, shelf_counts, stand, stand_prices
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.billing.services.payments import AMOUNT_CENTS_MAX
from apiary_sales.billing.services.shelf_counts import Difference
from apiary_sales.billing.services.stand import PaymentMade
from inventory.bottling.models import Product
from inventory.bottling.services import reversals
from inventory.shared import checks, days, keys
from inventory.shared.errors import CannotReverse, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Place, Posting
from inventory.stock.services import ledger, loads
from inventory.stock.services.loads import PiecesOfLot


@dataclass(frozen=True)
class ShelfCounted:
    """How many pieces of a product are on the shelf beside the box."""

    product: Product
    counted: int


@dataclass(frozen=True)
class _Line:
    """A counted product with what the books had, lot by lot, and its price."""

    product: Product
    counted: int
    there: list[PiecesOfLot]
    unit_price: Decimal | None
    price_before: Decimal | None

    @property
    def in_books(self) -> int:
        return sum(row.pieces for row in self.there)

    @property
    def missing(self) -> int:
        return max(0, self.in_books - self.counted)


@transaction.atomic
def set_up(*, place: Place, set_up_by: Person, key: str, note: str = "") -> HonestyBox:
    """Set up a honesty box at a stand or van, or use the one there again; return it.

    Raises `BadValue`, `AlreadyRecorded`.
    """
    refuse_repeat(HonestyBox, key)
    problems = Problems()
    if place.kind not in HonestyBox.PLACES or not place.is_active:
        problems.add("place", _("Choose a stand or a van that is in use."))
    box = HonestyBox.objects.filter(place=place).first()
    if box is not None and box.is_active:
        problems.add("place", _("%(place)s has a honesty box already.") % {"place": place.name})
    problems.raise_any()
    box = box or HonestyBox(place=place, set_up_by=set_up_by, idempotency_key=key)
    box.is_active, box.note = True, note.strip()
    checks.save_checked(box)
    return box


@transaction.atomic
def put_away(*, box: HonestyBox) -> HonestyBox:
    """Use a box no more; its counts stay. Raises `NotAllowedNow` for one that is not in use."""
    box = _locked(box)
    box.is_active = False
    box.save(update_fields=["is_active"])
    return box


@transaction.atomic
def count(
    *,
    box: HonestyBox,
    lines: Sequence[ShelfCounted],
    cash_cents: int,
    counted_by: Person,
    key: str,
    counted_on: date | None = None,
    note: str = "",
    surplus_reason: str = "",
) -> HonestyCount:
    """Count shelf and box together: what is missing is sold for the cash; return the count.

    Pieces go at the price of a single one in force on the day. Less cash than they come to is
    written off as missing from the box, more is given on top. Goods that the books do not have are
    a difference of count. The first count only says what is there; its cash is given on top, since
    nobody knows what it was for. Raises `BadValue` at `lines.<position>.counted`,
    `NotAllowedNow` for a box that is not in use, `StockReserved`, `AlreadyRecorded`.
    """
    box = _locked(box)
    refuse_repeat(HonestyCount, key)
    last = HonestyCount.objects.standing().filter(box=box).first()
    problems = Problems()
    _check(problems, box, lines, cash_cents, counted_on, last)
    problems.raise_any()
    ledger.lock_items(line.product.item for line in lines)
    moment, is_first = days.past_moment(counted_on), last is None
    counted = _with_books(box, lines, moment, counted_on, last)
    if not is_first:
        for index, line in enumerate(counted):
            if line.missing and line.unit_price is None:
                problems.add(
                    f"lines.{index}.counted",
                    _("No stand price is set for %(product)s.") % {"product": line.product.name},
                )
    problems.raise_any()
    # What is too much comes into the books before anything is sold.
    posting = _count_difference(
        box, counted, counted_by, keys.part(key, "count"), moment, surplus_reason, is_first=is_first
    )
    sale = None
    if not is_first:
        sale = _sell(box, counted, cash_cents, counted_by, keys.part(key, "sale"), moment)
    expected_cents = sale.total_cents if sale else 0
    found = box_sums.outcome(expected_cents=expected_cents, cash_cents=cash_cents)
    made = HonestyCount.objects.create(
        box=box,
        counted_at=moment or timezone.now(),
        counted_by=counted_by,
        is_first=is_first,
        cash_cents=cash_cents,
        expected_cents=expected_cents,
        short_cents=found.short_cents,
        on_top_cents=found.on_top_cents,
        note=note.strip(),
        sale=sale,
        cash_entry=None if sale else _enter_cash(cash_cents, counted_on),
        count_posting=posting,
        idempotency_key=key,
    )
    HonestyCountLine.objects.bulk_create(
        HonestyCountLine(
            count=made,
            product=line.product,
            in_books=line.in_books,
            counted=line.counted,
            unit_price=line.unit_price,
            price_before=line.price_before,
        )
        for line in counted
    )
    return made


@transaction.atomic
def undo(*, count: HonestyCount, undone_by: Person, key: str, reason: str) -> HonestyCount:
    """Undo the last count of a box: its sale, its cash and its difference of count.

    Raises `CannotReverse` for one that is not the last or was undone, `BadValue` without a reason.
    """
    HonestyBox.objects.select_for_update(no_key=True).get(pk=count.box_id)
    count = HonestyCount.objects.get(pk=count.pk)
    if count.is_undone:
        raise CannotReverse(_("This was undone already."))
    if count != HonestyCount.objects.standing().filter(box=count.box_id).first():
        raise CannotReverse(_("The box was counted again since. Undo the last count first."))
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is undone."))
    problems.raise_any()
    sale = count.sale
    if sale is not None and sale.undone_on is None:
        stand.take_back(
            receipt=sale.receipt,
            taken_by=undone_by,
            key=keys.part(key, "sale"),
            reason=reason.strip(),
        )
    posting = count.count_posting
    if posting is not None and not hasattr(posting, "reversed_by"):
        reversals.reverse(
            posting=posting, recorded_by=undone_by, key=keys.part(key, "count"), note=reason.strip()
        )
    if count.cash_entry is not None:
        count.cash_undo_entry = book.enter_opposite(
            count.cash_entry, happened_on=timezone.localdate()
        )
    count.undone_at, count.undone_by = timezone.now(), undone_by
    count.undone_reason = reason.strip()
    count.save()
    return count


def _locked(box: HonestyBox) -> HonestyBox:
    now = HonestyBox.objects.select_for_update(of=("self",), no_key=True).select_related("place")
    found = now.get(pk=box.pk)
    if not found.is_active:
        raise NotAllowedNow(_("This honesty box is not in use."))
    return found


def _check(
    problems: Problems,
    box: HonestyBox,
    lines: Sequence[ShelfCounted],
    cash_cents: int,
    counted_on: date | None,
    last: HonestyCount | None,
) -> None:
    if not 0 <= cash_cents <= AMOUNT_CENTS_MAX:
        problems.add("cash_cents", _("Enter the cash that was in the box, from 0 to a million."))
    if not lines and not cash_cents:
        problems.add("lines", _("Count the shelf first."))
    checks.check_day(problems, "counted_on", counted_on)
    if last is not None and counted_on is not None:
        last_day = timezone.localdate(last.counted_at)
        if counted_on < last_day:
            problems.add(
                "counted_on",
                _("The box was counted on %(day)s already. Choose that day or a later one.")
                % {"day": date_format(last_day)},
            )
    seen: set[int] = set()
    for index, line in enumerate(lines):
        if line.product.item.is_weighed:
            problems.add(
                f"lines.{index}.product",
                _("%(product)s is sold by weight, not by the piece.")
                % {"product": line.product.name},
            )
        else:
            shelf_counts.check_once(problems, f"lines.{index}.product", line.product, seen)
        shelf_counts.check_counted(problems, f"lines.{index}.counted", line.counted)
    for name in shelf_counts.left_out(box.place, [line.product for line in lines]):
        problems.add(
            "lines", _("%(product)s: count it too. Enter 0 if none is left.") % {"product": name}
        )


def _with_books(
    box: HonestyBox,
    lines: Sequence[ShelfCounted],
    moment: datetime | None,
    counted_on: date | None,
    last: HonestyCount | None,
) -> list[_Line]:
    products = [line.product for line in lines]
    prices = stand_prices.on(counted_on or timezone.localdate(), products)
    before = stand_prices.on(timezone.localdate(last.counted_at), products) if last else prices
    made = []
    for line in lines:
        price = prices.of(line.product).unit_price(1)
        earlier = before.of(line.product).unit_price(1)
        made.append(
            _Line(
                product=line.product,
                counted=line.counted,
                there=loads.at(line.product.item, box.place, moment),
                unit_price=price,
                price_before=None if earlier == price else earlier,
            )
        )
    return made


def _count_difference(
    box: HonestyBox,
    lines: Sequence[_Line],
    counted_by: Person,
    key: str,
    moment: datetime | None,
    surplus_reason: str,
    *,
    is_first: bool,
) -> Posting | None:
    return shelf_counts.post(
        differences=[
            Difference(line.product, line.there, more, f"lines.{index}.counted")
            for index, line in enumerate(lines)
            # What is missing later on was sold.
            if (more := line.counted - line.in_books) >= 0 or is_first
        ],
        items=[line.product.item for line in lines],
        place=box.place,
        reason=_("Shelf of the honesty box counted"),
        counted_by=counted_by,
        key=key,
        counted_at=moment,
        surplus_reason=surplus_reason,
    )


def _sell(
    box: HonestyBox,
    lines: Sequence[_Line],
    cash_cents: int,
    sold_by: Person,
    key: str,
    moment: datetime | None,
) -> StandSale | None:
    wanted = [
        stand_prices.line(line.product, line.missing, line.unit_price)
        for line in lines
        if line.missing and line.unit_price is not None
    ]
    if not wanted:
        return None
    return stand.sell(
        lines=wanted,
        place=box.place,
        payments=[PaymentMade(Payment.Method.CASH, cash_cents)] if cash_cents else [],
        sold_by=sold_by,
        key=key,
        sold_at=moment,
        has_happened=True,
        source=StandSale.Source.HONESTY_BOX,
        missing_reason=_("Missing from the honesty box"),
    )


def _enter_cash(cash_cents: int, counted_on: date | None) -> Entry | None:
    """Enter cash of which no piece was sold as given by buyers."""
    if not cash_cents:
        return None
    return book.enter(
        kind=Entry.Kind.TRANSFER,
        lines=[BookLine(Account.CASH, cash_cents), BookLine(Account.GIFTS, -cash_cents)],
        happened_on=counted_on or timezone.localdate(),
    )

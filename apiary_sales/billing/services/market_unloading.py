"""What came home from a market: counted, explained where some is missing, brought to a shelf."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.models import (
    MarketDay,
    MarketDayEntry,
    MarketDayLine,
    Payment,
    StandSale,
)
from apiary_sales.billing.services import market_days, shelf_counts, stand, stand_prices
from apiary_sales.billing.services.shelf_counts import Difference
from apiary_sales.billing.services.stand import PaymentMade
from inventory.bottling.models import Product
from inventory.bottling.services import reversals
from inventory.shared import keys
from inventory.shared.errors import AlreadyRecorded, NotAllowedNow, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock import rules as stock_rules
from inventory.stock.models import Item, Place, Posting
from inventory.stock.services import ledger, loads
from inventory.stock.services.loads import PiecesOfLot

Kind = MarketDayEntry.Kind


@dataclass(frozen=True)
class CameHome:
    """How many pieces of a product came home, and what became of those that are missing.

    What is missing beside that is a difference of count.
    """

    product: Product
    pieces: int
    sold: int = 0
    broken: int = 0
    samples: int = 0

    @property
    def explained(self) -> int:
        return self.sold + self.broken + self.samples


@transaction.atomic
def unload(
    *,
    market_day: MarketDay,
    lines: Sequence[CameHome],
    unloaded_by: Person,
    key: str,
    target: Place | None = None,
    differences_are_right: bool = False,
    surplus_reason: str = "",
) -> MarketDay:
    """Enter what came home from a market in one act, and return the market day.

    Each line is counted. What was sold and not entered is sold for cash at the prices of the day;
    what is broken or was given as samples is written off. Any other difference is refused until
    `differences_are_right`, and then posted as one of count. What is left is carried to `target`,
    or stays where it is without one. Raises `BadValue` at `lines.<position>.<name>`,
    `NotAllowedNow`, `StockReserved`, `LotOnHold`, `AlreadyRecorded`.
    """
    market_day = market_days.locked(market_day)
    if market_day.unload_key == key:
        raise AlreadyRecorded(_("This was recorded already."), made=market_day)
    _check_can_unload(market_day)
    problems = Problems()
    _check(problems, market_day, lines, target)
    problems.raise_any()
    place = market_day.place
    ledger.lock_items(line.product.item for line in lines)
    moment = market_days.moment_of(market_day, market_day.ends())
    in_books = {line.product: _pieces(line.product.item, place, moment) for line in lines}
    for index, line in enumerate(lines):
        _check_difference(problems, index, line, in_books[line.product], differences_are_right)
    problems.raise_any()
    market_day.missed_sale = _sell(market_day, lines, unloaded_by, keys.part(key, "sold"))
    for kind, name in ((Kind.BROKEN, "broken"), (Kind.SAMPLES, "samples")):
        _write_off(market_day, kind, name, lines, unloaded_by, keys.part(key, name), moment)
    _count(market_day, lines, unloaded_by, keys.part(key, "count"), moment, surplus_reason)
    if target is not None:
        _bring_home(market_day, lines, target, unloaded_by, keys.part(key, "home"), moment)
    for line in lines:
        MarketDayLine.objects.update_or_create(
            market_day=market_day,
            product=line.product,
            defaults={
                "came_home": line.pieces,
                "in_books": in_books[line.product],
                "sold_unentered": line.sold,
                "broken": line.broken,
                "samples": line.samples,
            },
        )
    market_day.unloaded_at, market_day.unloaded_by = timezone.now(), unloaded_by
    market_day.unload_key = key
    market_day.save(update_fields=["missed_sale", "unloaded_at", "unloaded_by", "unload_key"])
    return market_day


@transaction.atomic
def undo_unload(*, market_day: MarketDay, undone_by: Person, key: str, reason: str) -> MarketDay:
    """Undo what was entered at unloading, by the opposite entries, so that it is entered again.

    Sales entered with it are taken back, with a credit note. Raises `NotAllowedNow` where nothing
    was unloaded, `CannotReverse` where the goods have gone elsewhere since, `BadValue`.
    """
    market_day = market_days.locked(market_day)
    if not market_day.is_unloaded:
        raise NotAllowedNow(_("What came home is not entered yet."))
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is undone."))
    problems.raise_any()
    made = market_day.entries.exclude(kind=Kind.LOAD).filter(posting__reversed_by__reverses=None)
    for entry in made.select_related("posting").order_by("-id"):
        reversals.reverse(
            posting=entry.posting,
            recorded_by=undone_by,
            key=keys.part(key, entry.pk),
            note=reason.strip(),
        )
    missed = market_day.missed_sale
    if missed is not None and missed.undone_on is None:
        stand.take_back(
            receipt=missed.receipt,
            taken_by=undone_by,
            key=keys.part(key, "sold"),
            reason=reason.strip(),
        )
    market_day.missed_sale = market_day.unloaded_at = market_day.unloaded_by = None
    market_day.unload_key = market_day.closed_at = None
    market_day.save()
    # What was not on the load list is on it no more.
    market_day.lines.filter(wanted=0).delete()
    market_day.lines.update(came_home=None, in_books=None, sold_unentered=0, broken=0, samples=0)
    return market_day


def _check_can_unload(market_day: MarketDay) -> None:
    if market_day.is_unloaded:
        raise NotAllowedNow(_("What came home is entered already. Undo that first."))
    if market_day.day > timezone.localdate():
        raise NotAllowedNow(_("The market is still to come. Undo the loading instead."))


def _check(
    problems: Problems, market_day: MarketDay, lines: Sequence[CameHome], target: Place | None
) -> None:
    if target is not None:
        stock_rules.check_store(problems, "target", target)
        if target == market_day.place:
            problems.add("target", _("Leave it empty for what stays where it is."))
    seen: set[int] = set()
    for index, line in enumerate(lines):
        shelf_counts.check_once(problems, f"lines.{index}.product", line.product, seen)
        for name in ("pieces", "sold", "broken", "samples"):
            shelf_counts.check_counted(problems, f"lines.{index}.{name}", getattr(line, name))
    for name in shelf_counts.left_out(market_day.place, [line.product for line in lines]):
        problems.add(
            "lines",
            _("%(product)s: enter how many came home. Enter 0 if none did.") % {"product": name},
        )


def _check_difference(
    problems: Problems, index: int, line: CameHome, in_books: int, is_right: bool
) -> None:
    missing = in_books - line.pieces - line.explained
    figures = {"books": in_books, "home": line.pieces}
    parameter = f"lines.{index}.pieces"
    if missing > 0 and not is_right:
        problems.add(
            parameter,
            ngettext(
                "%(books)s should be there and %(home)s came home, so %(missing)s "
                "piece is missing. Say below whether it was sold and not entered, broken or given "
                "as a sample, or tick that it is a difference of count.",
                "%(books)s should be there and %(home)s came home, so %(missing)s "
                "pieces are missing. Say below whether they were sold and not entered, broken or "
                "given as samples, or tick that it is a difference of count.",
                missing,
            )
            % {**figures, "missing": missing},
        )
    elif missing < 0 and line.explained:
        problems.add(
            parameter,
            _(
                "%(books)s should be there and %(home)s came home, so fewer are "
                "missing than you explained. Check the figures."
            )
            % figures,
        )
    elif missing < 0 and not is_right:
        problems.add(
            parameter,
            _(
                "%(books)s should be there and %(home)s came home, so there are more "
                "than the books have. Count again, or tick that it is a difference of count."
            )
            % figures,
        )


def _pieces(item: Item, place: Place, moment: datetime | None) -> int:
    return sum(row.pieces for row in loads.at(item, place, moment))


def _sell(
    market_day: MarketDay, lines: Sequence[CameHome], sold_by: Person, key: str
) -> StandSale | None:
    sold = [(index, line) for index, line in enumerate(lines) if line.sold]
    if not sold:
        return None
    listed = stand_prices.on(market_day.day, [line.product for _index, line in sold])
    problems, wanted = Problems(), []
    for index, line in sold:
        price = listed.of(line.product).unit_price(1)
        if price is None:
            problems.add(
                f"lines.{index}.sold",
                _("No stand price is set for %(product)s.") % {"product": line.product.name},
            )
        else:
            wanted.append(stand_prices.line(line.product, line.sold, price))
    problems.raise_any()
    return stand.sell(
        lines=wanted,
        place=market_day.place,
        payments=[PaymentMade(Payment.Method.CASH)],
        sold_by=sold_by,
        key=key,
        sold_at=_sold_at(market_day),
        has_happened=True,
        source=StandSale.Source.OTHER,
    )


def _sold_at(market_day: MarketDay) -> datetime:
    """Return when what nobody entered was sold: at the end of the market, but not before loading.

    A load that is entered after the market has ended would leave nothing there to be sold.
    """
    loaded = market_day.load_posting
    ends = market_day.ends()
    return min(timezone.now(), max(ends, loaded.occurred_at) if loaded else ends)


def _write_off(
    market_day: MarketDay,
    kind: str,
    name: str,
    lines: Sequence[CameHome],
    written_off_by: Person,
    key: str,
    moment: datetime | None,
) -> None:
    taken: list[PiecesOfLot] = []
    for line in lines:
        there = loads.at(line.product.item, market_day.place, moment)
        if kind == Kind.SAMPLES:
            # What is on hold is given to nobody.
            there = [row for row in there if not (row.lot and row.lot.is_on_hold)]
        taken += loads.oldest(there, getattr(line, name))
    if not taken:
        return
    reason = Posting.Kind.BREAKAGE if kind == Kind.BROKEN else Posting.Kind.GIFT
    posting = loads.write_off(
        taken=taken,
        place=market_day.place,
        reason=reason,
        recorded_by=written_off_by,
        key=key,
        written_off_at=moment,
        note=str(market_day),
    )
    MarketDayEntry.objects.create(market_day=market_day, kind=kind, posting=posting)


def _count(
    market_day: MarketDay,
    lines: Sequence[CameHome],
    counted_by: Person,
    key: str,
    moment: datetime | None,
    surplus_reason: str,
) -> None:
    place = market_day.place
    differences = []
    for index, line in enumerate(lines):
        there = loads.at(line.product.item, place, moment)
        more = line.pieces - sum(row.pieces for row in there)
        differences.append(Difference(line.product, there, more, f"lines.{index}.pieces"))
    posting = shelf_counts.post(
        differences=differences,
        items=[line.product.item for line in lines],
        place=place,
        reason=_("Counted after the market"),
        counted_by=counted_by,
        key=key,
        counted_at=moment,
        surplus_reason=surplus_reason,
    )
    if posting is not None:
        MarketDayEntry.objects.create(market_day=market_day, kind=Kind.COUNT, posting=posting)


def _bring_home(
    market_day: MarketDay,
    lines: Sequence[CameHome],
    target: Place,
    carried_by: Person,
    key: str,
    moment: datetime | None,
) -> None:
    moved: list[PiecesOfLot] = []
    for line in lines:
        moved += loads.at(line.product.item, market_day.place, moment)
    if not moved:
        return
    with parameters_named(place="target"):
        posting = loads.post_moved(
            kind=Posting.Kind.TRANSFER,
            moved=moved,
            source=market_day.place,
            target=target,
            recorded_by=carried_by,
            key=key,
            at=moment,
            note=str(market_day),
        )
    MarketDayEntry.objects.create(market_day=market_day, kind=Kind.HOME, posting=posting)

"""What did not fit about a sale that was booked all the same, in sentences for the owner."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.models import SaleMark, StandSale
from apiary_sales.billing.services import stand_money, stand_prices
from apiary_sales.billing.services.stand_money import Settled
from apiary_sales.orders.models import Fulfilment, OrderLine
from apiary_sales.orders.rules.lines import product_of
from apiary_sales.pricing.models import WeightPrice
from apiary_sales.pricing.rules.weight_prices import WeightPriceList
from inventory.shared import conventions, words
from inventory.shared.errors import Problems
from inventory.shared.models import BooksLock
from inventory.shared.people import Person
from inventory.stock import own_places
from inventory.stock.models import Lot, Place, Shortage

Kind = SaleMark.Kind
# Within this, a clock is right.
CLOCK_MAY_DIFFER = timedelta(minutes=5)
# A sale that comes in later than this is told.
LATE_AFTER = timedelta(days=2)


@dataclass(frozen=True)
class MarkFound:
    """One thing that did not fit."""

    kind: str
    text: str


def find(
    *,
    fulfilment: Fulfilment,
    shortages: Iterable[Shortage],
    settled: Settled,
    asked_on_top_cents: int,
    total_cents: int,
    place: Place,
    sold_by: Person,
    sold_at: datetime,
    clock_said: datetime | None,
) -> list[MarkFound]:
    """Return what does not fit about a sale that is being booked, in the house's language."""
    sold_on = timezone.localdate(sold_at)
    with translation.override(conventions.current().language):
        return [
            *_of_stock(fulfilment, shortages, place, sold_on),
            *_of_prices(fulfilment, sold_on),
            *_of_money(settled, asked_on_top_cents, total_cents),
            *_of_time(sold_at, clock_said, sold_on),
            *_of_place(place, sold_by),
        ]


def keep(sale: StandSale, marks: Iterable[MarkFound]) -> None:
    """Write marks beside a sale."""
    longest = SaleMark._meta.get_field("text").max_length
    SaleMark.objects.bulk_create(
        SaleMark(sale=sale, kind=mark.kind, text=mark.text[:longest]) for mark in marks
    )


def shortages_since(fulfilment: Fulfilment) -> list[Shortage]:
    """Return what is short since a sale was booked just now: of it, and of later sales."""
    made = fulfilment.posting.just_short if fulfilment.posting else ()
    if not made:
        return []
    rows = Shortage.objects.filter(pk__in=[row.pk for row in made])
    return list(rows.select_related("item", "place").order_by("pk"))


def keep_on_others(fulfilment: Fulfilment, shortages: Iterable[Shortage]) -> None:
    """Mark the later sales that are short now because an earlier one came in after them."""
    for row in shortages:
        if row.posting_id == fulfilment.posting_id:
            continue
        later = StandSale.objects.filter(receipt__order__fulfilments__posting=row.posting_id)
        for sale in later.select_related("place"):
            with translation.override(conventions.current().language):
                keep(sale, [_short(row, sale.place)])


@transaction.atomic
def see(*, sale: StandSale, seen_by: Person, note: str = "") -> StandSale:
    """Write down that somebody looked at the marks of a sale; those seen before stay as they were.

    Raises `BadValue` for a note that is too long.
    """
    problems = Problems()
    note = note.strip()
    longest = SaleMark._meta.get_field("note").max_length or 0
    if len(note) > longest:
        problems.add("note", _("Write up to %(count)s characters.") % {"count": longest})
    problems.raise_any()
    sale.marks.filter(seen_at=None).update(seen_at=timezone.now(), seen_by=seen_by, note=note)
    return sale


@transaction.atomic
def see_short(*, sales: Iterable[StandSale], seen_by: Person) -> int:
    """Write down that somebody looked at sales whose open marks say only that goods were short.

    A sale with a mark of another kind stays as it is: somebody looks at that one by itself. Return
    how many sales it was.
    """
    waiting = SaleMark.objects.open().filter(sale__in=[sale.pk for sale in sales])
    others = waiting.exclude(kind=Kind.SHORT).values("sale")
    short = waiting.exclude(sale__in=list(others.values_list("sale", flat=True)))
    count = short.values("sale").distinct().count()
    short.update(seen_at=timezone.now(), seen_by=seen_by)
    return count


def _of_stock(
    fulfilment: Fulfilment, shortages: Iterable[Shortage], place: Place, sold_on: date
) -> Iterator[MarkFound]:
    for row in shortages:
        if row.posting_id == fulfilment.posting_id:
            yield _short(row, place)
    sold = {row.lot for row in fulfilment.just_made if row.lot}
    for lot in sorted(sold, key=lambda lot: lot.pk):
        if lot.is_on_hold:
            yield MarkFound(Kind.ON_HOLD, _("Lot %(lot)s is on hold.") % {"lot": lot.code})
        if lot.ready_on and lot.ready_on > sold_on:
            yield MarkFound(
                Kind.SETTING,
                _("Lot %(lot)s is not ready for sale before %(day)s.")
                % {"lot": lot.code, "day": date_format(lot.ready_on)},
            )


def _short(row: Shortage, place: Place) -> MarkFound:
    return MarkFound(
        Kind.SHORT,
        _("The books had %(missing)s of %(item)s too few at %(place)s. It is to be settled.")
        % {
            "missing": row.item.in_words(row.quantity),
            "item": row.item.name,
            "place": place.name,
        },
    )


def _of_prices(fulfilment: Fulfilment, sold_on: date) -> Iterator[MarkFound]:
    # A line that was taken from several lots has one price.
    sold = {row.order_line_id: row for row in fulfilment.just_made}.values()
    packed = [row.order_line for row in sold if row.order_line.kind == OrderLine.Kind.PACKED]
    pieces = stand_prices.of_sold(sold_on, [product_of(line) for line in packed])
    in_force: Iterable[WeightPrice] = ()
    if len(packed) < len(sold):
        in_force = WeightPrice.objects.filter(tier=stand_prices.TIER).in_force(sold_on)
    pounds = WeightPriceList(stand_prices.TIER, tuple(in_force))
    for each in sold:
        line, lot = each.order_line, each.lot
        if line.kind == OrderLine.Kind.PACKED:
            price = pieces[product_of(line).pk].unit_price(line.quantity)
        elif line.product is not None:
            price = pounds.of_product(line.product)
        elif lot is not None and lot.kind != Lot.Kind.UNKNOWN:
            price = pounds.of_honey(lot)
        else:
            continue
        name = line.product.name if line.product else line.description
        if price is None:
            yield MarkFound(
                Kind.PRICE,
                _("%(what)s was sold at %(price)s and had no price at the stand on that day.")
                % {"what": name, "price": words.unit_price(line.unit_price)},
            )
        elif price != line.unit_price:
            yield MarkFound(
                Kind.PRICE,
                _("%(what)s was sold at %(price)s; the price in force was %(listed)s.")
                % {
                    "what": name,
                    "price": words.unit_price(line.unit_price),
                    "listed": words.unit_price(price),
                },
            )


def _of_money(settled: Settled, asked_on_top_cents: int, total_cents: int) -> Iterator[MarkFound]:
    if settled.missing_cents:
        yield MarkFound(
            Kind.PAID,
            _("The sale comes to %(total)s and %(missing)s less was paid. It was written off.")
            % {
                "total": words.money(total_cents),
                "missing": words.money(settled.missing_cents),
            },
        )
    elif settled.on_top_cents > asked_on_top_cents:
        yield MarkFound(
            Kind.PAID,
            _("The sale comes to %(total)s and %(more)s more was paid. It counts as given on top.")
            % {
                "total": words.money(total_cents),
                "more": words.money(settled.on_top_cents - asked_on_top_cents),
            },
        )
    for each in settled.payments:
        cents, tendered_cents = each.handed_cents, each.tendered_cents
        if tendered_cents is None:
            continue
        figures = {"given": words.money(tendered_cents), "cents": words.money(cents)}
        if tendered_cents < cents:
            yield MarkFound(
                Kind.CASH,
                _("%(given)s of cash was entered for %(cents)s to pay.") % figures,
            )
        elif stand_money.is_a_lot(cents, tendered_cents):
            yield MarkFound(
                Kind.CASH,
                _("%(given)s of cash was entered for %(cents)s to pay. That is a lot.") % figures,
            )


def _of_time(sold_at: datetime, clock_said: datetime | None, sold_on: date) -> Iterator[MarkFound]:
    if clock_said is not None:
        yield MarkFound(
            Kind.CLOCK,
            _("It was %(said)s by the clock of the device, and %(counted)s by ours; ours counts.")
            % {
                "said": date_format(timezone.localtime(clock_said), "SHORT_DATETIME_FORMAT"),
                "counted": date_format(timezone.localtime(sold_at), "SHORT_DATETIME_FORMAT"),
            },
        )
    late = timezone.now() - sold_at
    if late > LATE_AFTER:
        yield MarkFound(
            Kind.LATE,
            ngettext(
                "It came in %(days)s day after it was sold.",
                "It came in %(days)s days after it was sold.",
                late.days,
            )
            % {"days": late.days},
        )
    counts_on = BooksLock.objects.counting_day(sold_on)
    if counts_on != sold_on:
        yield MarkFound(
            Kind.CLOSED_DAY,
            _("The books of %(day)s are closed. It counts on %(counts)s.")
            % {"day": date_format(sold_on), "counts": date_format(counts_on)},
        )


def _of_place(place: Place, sold_by: Person) -> Iterator[MarkFound]:
    if not own_places.is_own(sold_by, place):
        yield MarkFound(
            Kind.PLACE,
            _("%(who)s sold from %(place)s, which is not a stand or van.")
            % {"who": sold_by.get_full_name() or sold_by.username, "place": place.name},
        )
    if not place.is_active:
        yield MarkFound(Kind.PLACE, _("%(place)s is not in use any more.") % {"place": place.name})

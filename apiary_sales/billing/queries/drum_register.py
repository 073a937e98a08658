"""Who holds which drum since when, and what became of those that were out before.

A deposit is given back for the number of drums that came back, whichever they are: what is left to
give back of an invoice is counted, not kept.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Exists, OuterRef, Prefetch, QuerySet, Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, InvoiceLine, KeptDeposit
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import (
    DrumReturn,
    FulfilmentLine,
    OrderLine,
    ReturnedDrum,
)
from inventory.shared import words
from inventory.shared.tags import Tag
from inventory.stock.models import Place, Posting, PostingLine


@dataclass(frozen=True)
class Outing:
    """A drum that went out: with whom, on which papers, and what became of it."""

    line: FulfilmentLine
    is_sold: bool
    deposit_cents: int
    invoice: Invoice | None
    back: ReturnedDrum | None
    lost: ReturnedDrum | None

    @property
    def drum(self) -> Place:
        drum = self.line.order_line.drum
        assert drum is not None
        return drum

    @property
    def customer(self) -> Customer:
        customer = self.line.fulfilment.order.customer
        assert customer is not None
        return customer

    @property
    def went_on(self) -> date:
        return self.line.fulfilment.filled_on

    @property
    def is_out(self) -> bool:
        return self.back is None and self.lost is None

    @property
    def came_on(self) -> date | None:
        """The day it came back or was given up for lost; None while it is out."""
        last = self.back or self.lost
        return last.drum_return.returned_on if last else None

    @property
    def days_out(self) -> int:
        return ((self.came_on or timezone.localdate()) - self.went_on).days

    @property
    def kept_deposits(self) -> list[KeptDeposit]:
        """Each time its deposit was kept, those that were given up again among them."""
        rows = [row for row in (self.lost, self.back) if row is not None]
        return [kept for row in rows for kept in row.kept_deposits.all()]

    @property
    def kept(self) -> KeptDeposit | None:
        """The deposit that is kept now."""
        return next((kept for kept in self.kept_deposits if not kept.is_undone), None)

    @property
    def kept_in_words(self) -> str:
        if self.kept is None:
            return ""
        return _("The deposit of %(amount)s was kept on %(day)s.") % {
            "amount": words.money(self.kept.amount_cents),
            "day": date_format(self.kept.kept_on),
        }

    @property
    def can_give_up_keeping(self) -> bool:
        """Whether it is back and its deposit is kept all the same."""
        return self.back is not None and self.kept is not None

    @property
    def terms(self) -> str:
        return _("sold") if self.is_sold else _("on deposit")

    @property
    def can_keep_deposit(self) -> bool:
        """Whether it came back damaged, and its deposit is neither given back nor kept."""
        return (
            not self.is_sold
            and self.back is not None
            and self.back.drum_return.outcome == DrumReturn.Outcome.DAMAGED
            and self.kept is None
        )

    @property
    def tag(self) -> Tag:
        if self.back is not None:
            if self.back.drum_return.outcome == DrumReturn.Outcome.DAMAGED:
                return Tag(_("came back damaged"), "warn")
            return Tag(_("back"), "good")
        if self.lost is not None:
            return Tag(_("lost"), "bad")
        return Tag(_("sold"), "") if self.is_sold else Tag(_("out"), "info")


@dataclass(frozen=True)
class Holder:
    """A customer with the drums they hold, the oldest first."""

    customer: Customer
    outings: list[Outing]

    @property
    def deposit_cents(self) -> int:
        return sum(outing.deposit_cents for outing in self.outings)


@dataclass(frozen=True)
class DepositToRefund:
    """So many drums of an invoice are back, and their deposit is not given back yet."""

    invoice: Invoice
    drums: int


def still_out() -> list[Outing]:
    """Return the drums that are out, the one that went first at the top, in a few queries."""
    return _outings(FulfilmentLine.objects.still_out())


def lost() -> list[Outing]:
    """Return the drums given up for lost that never came back."""
    return _outings(FulfilmentLine.objects.not_back().filter(drums_returned__is_lost=True))


def with_customer(customer: Customer) -> list[Outing]:
    """Return the drums that a customer has, those given up for lost among them."""
    rows = FulfilmentLine.objects.not_back().filter(fulfilment__order__customer=customer)
    return _outings(rows)


def of_drum(drum: Place) -> list[Outing]:
    """Return every time that a drum was out, oldest first."""
    return _outings(FulfilmentLine.objects.outings().filter(order_line__drum=drum))


def holders(outings: Iterable[Outing]) -> list[Holder]:
    """Return who holds these drums, by name."""
    found: dict[Customer, list[Outing]] = {}
    for outing in outings:
        found.setdefault(outing.customer, []).append(outing)
    return [
        Holder(customer, held)
        for customer, held in sorted(found.items(), key=lambda pair: pair[0].name.casefold())
    ]


@dataclass(frozen=True)
class DrumEvent:
    """One thing in the life of a drum, and the page that tells more of it."""

    day: date
    what: str
    order: str = ""
    posting: int | None = None


def history(drum: Place) -> list[DrumEvent]:
    """Return when a drum was filled, to whom it went, and how it came back, newest first."""
    fills = (
        PostingLine.objects.standing()
        .filter(place=drum, quantity__gt=0, posting__kind=Posting.Kind.DRUM_FILL)
        .select_related("posting", "lot", "item")
        .order_by("posting__occurred_at", "id")
    )
    events = [
        DrumEvent(
            timezone.localdate(line.posting.occurred_at),
            _("Filled: %(weight)s of lot %(lot)s")
            % {"weight": line.item.in_words(line.quantity, 1), "lot": line.lot or ""},
            posting=line.posting_id,
        )
        for line in fills
    ]
    for outing in of_drum(drum):
        order = outing.line.fulfilment.order.number
        events.append(
            DrumEvent(
                outing.went_on,
                _("Went to %(customer)s, %(terms)s")
                % {"customer": outing.customer, "terms": outing.terms},
                order,
            )
        )
        for row in (outing.lost, outing.back):
            if row is not None:
                what = str(row.drum_return.get_outcome_display()).capitalize()
                note = f": {row.drum_return.note}" if row.drum_return.note else ""
                events.append(DrumEvent(row.drum_return.returned_on, what + note, order))
        events.extend(_deposit_events(outing, order))
    # Of one day, what happened last was added last.
    events.reverse()
    return sorted(events, key=lambda event: event.day, reverse=True)


def _deposit_events(outing: Outing, order: str) -> Iterator[DrumEvent]:
    """Yield when the deposit of a drum was kept, and when the keeping was given up."""
    for kept in outing.kept_deposits:
        amount = {"amount": words.money(kept.amount_cents)}
        yield DrumEvent(kept.kept_on, _("Its deposit of %(amount)s was kept") % amount, order)
        if kept.undone_on is not None:
            what = _("The keeping of its deposit of %(amount)s was given up") % amount
            yield DrumEvent(kept.undone_on, f"{what}: {kept.undone_reason}", order)


def to_refund(customer: Customer | None = None) -> list[DepositToRefund]:
    """Return the invoices with drums that are back and whose deposit is neither refunded nor kept.

    Lost drums do not count; of damaged ones the deposit may still be kept.
    """
    open_drums = FulfilmentLine.objects.of_open_drums()
    back = open_drums.on_deposit().filter(drums_returned__is_lost=False)
    if customer is not None:
        back = back.filter(fulfilment__order__customer=customer)
    # What is kept of a drum that is back waits for nothing more, even if it was kept as of a lost
    # one.
    kept = KeptDeposit.objects.standing().filter(returned_drum__fulfilment_line=OuterRef("pk"))
    drums_back = dict(
        back.exclude(Exists(kept))
        .order_by()
        .values_list("fulfilment")
        .annotate(drums=Count("pk", distinct=True))
    )
    settled = _settled_by_fulfilment(back.order_by().values("fulfilment"))
    # Nearly all deposits were given back: only of the others the invoices are read.
    by_fulfilment = {key: drums for key, drums in drums_back.items() if drums > settled.get(key, 0)}
    billed = (
        _deposit_lines()
        .filter(fulfilment_line__fulfilment__in=by_fulfilment)
        .select_related("invoice__customer", "fulfilment_line")
        .prefetch_related(Prefetch("kept_deposits", KeptDeposit.objects.standing()), "credit_lines")
        .order_by("invoice")
    )
    lines_of: dict[int, list[InvoiceLine]] = {}
    for line in billed:
        if line.fulfilment_line:
            lines_of.setdefault(line.fulfilment_line.fulfilment_id, []).append(line)
    left: dict[Invoice, int] = {}
    # Each drum has a deposit line of its own, and the drums of a hand-over are counted together.
    for fulfilment, lines in lines_of.items():
        wanted = by_fulfilment[fulfilment] - sum(map(_settled_deposits, lines))
        for line in lines:
            drums = min(_deposits_held(line), wanted)
            if drums > 0:
                left[line.invoice] = left.get(line.invoice, 0) + drums
                wanted -= drums
    return [DepositToRefund(invoice, drums) for invoice, drums in left.items()]


def _deposit_lines() -> QuerySet[InvoiceLine]:
    """Return the lines of invoices that bill deposits on drums."""
    return InvoiceLine.objects.filter(
        fulfilment_line__order_line__kind=OrderLine.Kind.DRUM_DEPOSIT,
        invoice__credits=None,
    )


def _settled_by_fulfilment(fulfilments: QuerySet) -> dict[int, int]:
    """Return for how many drums of each hand-over the deposit was credited; in two queries.

    It is the sum of `_settled_deposits` of its lines.
    """
    lines = (
        _deposit_lines()
        .filter(fulfilment_line__fulfilment__in=fulfilments)
        .order_by()
        .values_list("fulfilment_line__fulfilment")
    )
    found: dict[int, int] = {}
    for key, credited in lines.annotate(much=Sum("credit_lines__quantity")):
        found[key] = -int(credited or 0)
    again = lines.filter(invoice__corrects__isnull=False).annotate(much=Sum("quantity"))
    for key, billed_again in again:
        found[key] -= int(billed_again)
    return found


def _credited_deposits(line: InvoiceLine) -> int:
    return -int(sum(row.quantity for row in line.credit_lines.all()))


def _settled_deposits(line: InvoiceLine) -> int:
    """Return for how many drums that came back a deposit line was credited.

    What a corrected copy bills again was credited only to be billed there.
    """
    billed_again = int(line.quantity) if line.invoice.corrects_id else 0
    return _credited_deposits(line) - billed_again


def _deposits_held(line: InvoiceLine) -> int:
    """Return for how many drums a deposit line is still held."""
    return int(line.quantity) - _credited_deposits(line) - len(line.kept_deposits.all())


def csv_rows(outings: Iterable[Outing]) -> list[Sequence[object]]:
    """Return drums that are out as rows of a file, with a heading."""
    heading = (
        _("Customer"),
        _("Drum"),
        _("Went out"),
        _("Days out"),
        _("Terms"),
        _("Deposit"),
        _("Order"),
        _("Invoice"),
        _("State"),
    )
    return [
        heading,
        *(
            (
                outing.customer.name,
                outing.drum.name,
                outing.went_on,
                outing.days_out,
                outing.terms,
                f"{outing.deposit_cents / 100:.2f}",
                outing.line.fulfilment.order.number,
                str(outing.invoice or ""),
                outing.tag.text,
            )
            for outing in outings
        ),
    ]


def _outings(rows: QuerySet[FulfilmentLine]) -> list[Outing]:
    returned = ReturnedDrum.objects.select_related("drum_return__recorded_by").prefetch_related(
        "kept_deposits"
    )
    billed = InvoiceLine.objects.filter(invoice__credits=None).select_related("invoice")
    lines = list(
        rows.select_related(
            "order_line__drum", "fulfilment__order__customer", "lot"
        ).prefetch_related(Prefetch("drums_returned", returned), Prefetch("invoice_lines", billed))
    )
    deposits = _deposits_on_drums_out({line.fulfilment_id for line in lines})
    made = []
    for line in lines:
        invoices = [row.invoice for row in line.invoice_lines.all()]
        found = {row.is_lost: row for row in line.drums_returned.all()}
        of_handover = deposits.get(line.fulfilment_id)
        cents = 0
        if of_handover is not None:
            cents = of_handover.each_cents if found else of_handover.take_cents()
        made.append(
            Outing(
                line,
                is_sold=line.is_sold,  # type: ignore[attr-defined]
                deposit_cents=0 if line.is_sold else cents,  # type: ignore[attr-defined]
                invoice=invoices[-1] if invoices else None,
                back=found.get(False),
                lost=found.get(True),
            )
        )
    return made


@dataclass
class _DepositsOut:
    """What the deposit on one drum of a hand-over is, and for how many drums out it is held."""

    each_cents: int
    drums: int

    def take_cents(self) -> int:
        """Return the deposit on the next drum that is out: none where fewer are held."""
        if self.drums <= 0:
            return 0
        self.drums -= 1
        return self.each_cents


def _deposits_on_drums_out(fulfilments: set[int]) -> dict[int, _DepositsOut]:
    """Return, by hand-over, the deposits held on its drums that are out.

    Those given back, kept, or waiting for a drum that is back are none of them, so that with the
    deposits to give back they are what the books hold.
    """
    lines = FulfilmentLine.objects.filter(
        fulfilment__in=fulfilments, order_line__kind=OrderLine.Kind.DRUM_DEPOSIT
    )
    taken: dict[int, int] = {}
    credited: dict[int, int] = {}
    each_cents: dict[int, int] = {}
    # An invoice and what credits it are added up; a corrected copy bills again.
    for line in lines.select_related("order_line").annotate(billed=Sum("invoice_lines__quantity")):
        key, billed = line.fulfilment_id, line.billed
        taken[key] = taken.get(key, 0) + line.quantity
        if billed is not None:
            credited[key] = credited.get(key, 0) + line.quantity - int(billed)
        each_cents[key] = line.order_line.amount_cents // line.order_line.quantity
    # By hand-over, the lines of the drums; one that was lost and came back has two records.
    back: dict[int, set[int]] = {key: set() for key in taken}
    kept: dict[int, set[int]] = {key: set() for key in taken}
    standing = KeptDeposit.objects.standing().filter(returned_drum=OuterRef("pk"))
    returned = ReturnedDrum.objects.filter(fulfilment_line__fulfilment__in=taken)
    for key, line_key, is_lost, is_kept in returned.annotate(is_kept=Exists(standing)).values_list(
        "fulfilment_line__fulfilment", "fulfilment_line", "is_lost", "is_kept"
    ):
        if is_kept:
            kept[key].add(line_key)
        if not is_lost:
            back[key].add(line_key)
    found = {}
    for key, drums in taken.items():
        gone = credited.get(key, 0)
        held = drums - gone - len(kept[key])
        # What is kept of a drum that is back waits for nothing more.
        waiting = max(0, len(back[key] - kept[key]) - gone)
        found[key] = _DepositsOut(each_cents[key], held - min(held, waiting))
    return found

"""Receipts of the stand: what one says beside its lines, and which ones a list shows."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from django.conf import settings
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import TruncDate
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import EntryLine, Invoice, InvoiceLine, Payment, StandSale
from apiary_sales.billing.queries import stand
from inventory.shared import days, money, typed
from inventory.stock import own_places
from inventory.stock.models import Place

# "R26-00012", "r26 12" or the number alone.
NUMBER = re.compile(r"(?:(?P<series>[A-Za-z]+\d*)[-\s]*)?0*(?P<number>\d{1,9})")
# Of a receipt in a list.
LINES_SHOWN = 4
# Of receipts in a list: the newest that are found.
LISTED_MAX = 1000
# No receipt comes to more, and a larger figure would not fit its column.
MONEY_MAX = 10**9


@dataclass(frozen=True)
class CameBack:
    """What a credit note took back of a receipt."""

    note: Invoice

    @property
    def cents(self) -> int:
        return -self.note.total_cents

    @property
    def text(self) -> str:
        return ", ".join(
            f"{line.as_printed(-line.quantity)} × {line.description}"
            for line in self.note.lines.all()
        )


@dataclass(frozen=True)
class GivenMoney:
    """One way in which money was given: for the goods, and what was given on top with it.

    `tendered_cents` is the cash that was handed over, where that is known.
    """

    method: str
    cents: int
    on_top_cents: int = 0
    tendered_cents: int | None = None
    reference: str = ""
    rounding_cents: int = 0

    @property
    def given_cents(self) -> int:
        return self.cents + self.on_top_cents

    @property
    def shown_cents(self) -> int:
        """What the receipt says of it: the cash handed over, or what was paid."""
        return self.given_cents if self.tendered_cents is None else self.tendered_cents

    @property
    def change_cents(self) -> int:
        """The cash given back at the counter."""
        return max(0, self.shown_cents - self.given_cents)

    @property
    def way(self) -> str:
        return str(Payment.Method(self.method).label)


@dataclass(frozen=True)
class ReceiptFacts:
    """What a receipt says beside its lines and taxes.

    `sale` is None of a receipt that nothing is kept beside. `came_back` has its credit notes.
    """

    receipt: Invoice
    sale: StandSale | None
    money: Sequence[GivenMoney]
    came_back: Sequence[CameBack]

    @property
    def sold_at(self) -> datetime | None:
        return self.sale.sold_at if self.sale else None

    @property
    def place_name(self) -> str:
        return self.sale.place.name if self.sale else ""

    @property
    def seller_name(self) -> str:
        return (self.sale.sold_by if self.sale else self.receipt.issued_by).display_name

    @property
    def rounding_cents(self) -> int:
        """What the smallest coin added to what was paid in cash, or took off."""
        return sum(given.rounding_cents for given in self.money)

    @property
    def on_top_cents(self) -> int:
        return sum(given.on_top_cents for given in self.money)

    @property
    def has_cash(self) -> bool:
        """Whether it is known what cash was given."""
        return any(given.tendered_cents is not None for given in self.money)

    @property
    def change_cents(self) -> int:
        return sum(given.change_cents for given in self.money)

    @property
    def unpaid_cents(self) -> int:
        """What the buyer gave too little."""
        return (
            self.receipt.total_cents
            + self.rounding_cents
            - sum(given.cents for given in self.money)
        )

    @property
    def discount_cents(self) -> int:
        """What was taken off all lines together."""
        return sum(line.discount_cents for line in self.receipt.lines.all())

    @cached_property
    def undone_by(self) -> Invoice | None:
        """The credit note that took back the last of the sale; None while some of it stays sold."""
        if not self.came_back:
            return None
        is_undone = self.sale is not None and self.sale.undone_on is not None
        is_all = sum(back.cents for back in self.came_back) == self.receipt.total_cents
        return self.came_back[-1].note if is_undone or is_all else None

    @property
    def corrected_by(self) -> Invoice | None:
        """The receipt that was written in the place of this one."""
        by = self.sale.corrected_by if self.sale else None
        return by.receipt if by else None

    @property
    def path(self) -> str:
        """Where the receipt can be read by whoever has it; empty without a sale beside it."""
        return read_path(self.sale) if self.sale else ""


def read_path(sale: StandSale) -> str:
    """Return where whoever has the address can read the receipt of a sale."""
    return reverse("billing:read_receipt", args=[sale.read_code])


def facts_of(receipt: Invoice) -> ReceiptFacts:
    """Return what a receipt says, in a constant number of queries."""
    sale = (
        StandSale.objects.select_related("place", "sold_by", "corrected_by__receipt")
        .filter(receipt=receipt)
        .first()
    )
    payments = (
        Payment.objects.filter(allocations__invoice=receipt, reverses=None)
        .distinct()
        .order_by("id")
    )
    notes = receipt.credit_notes.prefetch_related("lines").order_by("id")
    return ReceiptFacts(
        receipt,
        sale,
        _money_of(list(payments), _on_top_by_method(sale)),
        [CameBack(note) for note in notes],
    )


def _on_top_by_method(sale: StandSale | None) -> dict[str, int]:
    """Return what was given on top, by the way in which it was given."""
    if sale is None or sale.on_top_entry_id is None:
        return {}
    lines = EntryLine.objects.filter(entry=sale.on_top_entry_id, amount_cents__gt=0)
    return {line.account: line.amount_cents for line in lines}


def _money_of(payments: Sequence[Payment], on_top: dict[str, int]) -> list[GivenMoney]:
    left, made = dict(on_top), []
    for payment in reversed(payments):
        made.append(
            GivenMoney(
                payment.method,
                payment.handed_cents,
                _on_top_with(payment, left),
                payment.tendered_cents,
                payment.reference,
                payment.rounding_cents,
            )
        )
    only_on_top = [GivenMoney(method, 0, cents) for method, cents in left.items()]
    return [*reversed(made), *only_on_top]


def _on_top_with(payment: Payment, left: dict[str, int]) -> int:
    """Return what was given on top with a payment, and take it off what is left of its kind.

    A check says it itself; cash and cards gave it with the last payment of their kind.
    """
    if payment.method != Payment.Method.CHECK:
        return left.pop(payment.method, 0)
    still = left.pop(payment.method, 0) - payment.on_top_cents
    if still > 0:
        left[payment.method] = still
    return payment.on_top_cents


def read_by(code: str) -> Invoice | None:
    """Return the receipt with this code of its own, which nobody can guess."""
    return stand.receipts().filter(stand_sale__read_code=code).first()


def seen_by(user: Any) -> QuerySet[Invoice]:
    """Return the receipts that a person may see: of their own places, and what they sold."""
    found = stand.receipts()
    if own_places.has_every(user):
        return found
    return found.filter(
        Q(stand_sale__place__kind__in=own_places.KINDS) | Q(stand_sale__sold_by=user.pk)
    )


@dataclass(frozen=True)
class DaySums:
    """How many receipts of one day a list has on all its pages, and what they come to."""

    receipts: int
    cents: int


@dataclass(frozen=True)
class ListedReceipt:
    """A receipt as a list shows it, with the sums of its day, where it has a sale."""

    receipt: Invoice
    of_day: DaySums | None = None

    @property
    def sale(self) -> StandSale | None:
        return getattr(self.receipt, "stand_sale", None)

    @property
    def day(self) -> date:
        return timezone.localdate(self.sale.sold_at) if self.sale else self.receipt.supplied_on

    @property
    def shown_lines(self) -> Sequence[InvoiceLine]:
        return list(self.receipt.lines.all())[:LINES_SHOWN]

    @property
    def more(self) -> int:
        """How many lines are not shown."""
        return max(0, len(self.receipt.lines.all()) - LINES_SHOWN)

    @property
    def methods(self) -> str:
        """How it was paid."""
        paid = [
            allocation.payment.get_method_display()
            for allocation in self.receipt.allocations.all()
            if allocation.amount_cents > 0
        ]
        return ", ".join(dict.fromkeys(paid))


@dataclass(frozen=True)
class ReceiptsFound:
    """Receipts that a list shows, the newest sale first, and what they come to.

    A list has the newest `LISTED_MAX`; older ones are found by their day, number or amount.
    """

    receipts: QuerySet[Invoice]

    @cached_property
    def keys(self) -> list[int]:
        """The keys of the receipts listed, in their order."""
        return self._newest[:LISTED_MAX]

    @property
    def has_older(self) -> bool:
        """Whether there are more than a list has."""
        return len(self._newest) > LISTED_MAX

    @cached_property
    def _newest(self) -> list[int]:
        # Both kinds in one question would be sorted as a whole for the first of them.
        of_sales = self.receipts.filter(stand_sale__isnull=False)
        of_sales = of_sales.order_by("-stand_sale__sold_at", "-id")
        keys = list(of_sales.values_list("pk", flat=True)[: LISTED_MAX + 1])
        if len(keys) <= LISTED_MAX:
            others = self.receipts.filter(stand_sale__isnull=True).order_by("-id")
            keys += others.values_list("pk", flat=True)[: LISTED_MAX + 1 - len(keys)]
        return keys

    @cached_property
    def sums(self) -> dict[str, int]:
        """What the receipts listed come to, and what of it was given back."""
        sold = Invoice.objects.filter(pk__in=self.keys).aggregate(cents=Sum("total_cents"))
        back = Invoice.objects.filter(credits__in=self.keys).aggregate(cents=Sum("total_cents"))
        return {"sold_cents": sold["cents"] or 0, "back_cents": -(back["cents"] or 0)}

    def listed(self, keys: Sequence[int]) -> list[ListedReceipt]:
        """Return the receipts of one page, each with the sums of its whole day."""
        found = self.receipts.order_by().in_bulk(keys)
        rows = [ListedReceipt(found[key]) for key in keys]
        sums = self._by_day([row.day for row in rows if row.sale])
        return [ListedReceipt(row.receipt, sums.get(row.day)) for row in rows]

    def _by_day(self, shown: Sequence[date]) -> dict[date, DaySums]:
        if not shown:
            return {}
        on = TruncDate("stand_sale__sold_at", tzinfo=timezone.get_current_timezone())
        of_days = (days.start_of(min(shown)), days.end(max(shown)))
        return {
            row["day"]: DaySums(row["receipts"], row["cents"])
            for row in self.receipts.order_by()
            .filter(stand_sale__sold_at__range=of_days)
            .annotate(day=on)
            .values("day")
            .annotate(receipts=Count("pk", distinct=True), cents=Sum("total_cents"))
        }


def found(
    *,
    user: Any,
    on: date | None = None,
    place: Place | None = None,
    seller: User | None = None,
    method: str = "",
    text: str = "",
) -> ReceiptsFound:
    """Return the receipts that a person may see and asks for.

    `text` is a number of a receipt, an amount, or the number of a check.
    """
    receipts = seen_by(user)
    if on is not None:
        whole_day = (days.start_of(on), days.end(on))
        receipts = receipts.filter(stand_sale__sold_at__range=whole_day)
    if place is not None:
        receipts = receipts.filter(stand_sale__place=place)
    if seller is not None:
        receipts = receipts.filter(stand_sale__sold_by=seller)
    if method:
        receipts = receipts.filter(pk__in=_paid(method=method))
    if text := text.strip():
        receipts = receipts.filter(_meant(text))
    return ReceiptsFound(
        receipts.select_related("stand_sale__place", "stand_sale__sold_by").order_by(
            F("stand_sale__sold_at").desc(nulls_last=True), "-id"
        )
    )


def _paid(**how: Any) -> QuerySet[Any]:
    return Payment.objects.filter(reverses=None, **how).values("allocations__invoice")


def _meant(text: str) -> Q:
    meant = Q(pk__in=_paid(reference__iexact=text))
    if known := NUMBER.fullmatch(text):
        by_number = Q(number=int(known["number"]))
        if known["series"]:
            by_number &= Q(series__iexact=known["series"])
        meant |= by_number
    try:
        figure = text.replace(money.symbol(), "")
        amount = typed.read_number(figure, decimal_sign=settings.DECIMAL_SEPARATOR)
    except typed.Mistyped:
        return meant
    return meant | Q(total_cents=money.cents_half_up(amount)) if abs(amount) < MONEY_MAX else meant


def places_of(user: Any) -> QuerySet[Place]:
    """Return where things were sold that a person may see.

    The first sale of each place is looked for in an index, and so are those of a seller.
    """
    sales = StandSale.objects.filter(place=OuterRef("pk"))
    seen = Q(Exists(sales))
    if not own_places.has_every(user):
        seen = Q(seen, kind__in=own_places.KINDS) | Q(Exists(sales.filter(sold_by=user.pk)))
    return Place.objects.filter(seen).order_by("name")


def sellers_of(user: Any) -> QuerySet[User]:
    """Return who made the sales that a person may see; they are looked for as in `places_of`."""
    sales = StandSale.objects.filter(sold_by=OuterRef("pk"))
    seen = Q(Exists(sales))
    if not own_places.has_every(user):
        own = Place.objects.filter(kind__in=own_places.KINDS).values("pk")
        seen = Q(Exists(sales.filter(place__in=own))) | Q(seen, pk=user.pk)
    return User.objects.filter(seen).order_by("username")

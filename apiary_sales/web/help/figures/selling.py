"""Examples about selling: free stock, what is owed, tax, deposits, cash, and the forecast."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Self

from django.db.models import Count, Q
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing import drawers
from apiary_sales.billing.drawers import Drawer
from apiary_sales.billing.models import (
    Invoice,
    InvoiceLine,
    StandDay,
    StandDayClose,
)
from apiary_sales.billing.queries import money
from apiary_sales.billing.queries.money import Aging
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.queries import stock
from apiary_sales.planning.queries import past_sales
from apiary_sales.planning.rules.demand import Outlook, PastSales
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.rules import tax
from apiary_sales.web.help.figures.example import Example
from inventory.bottling.models import Product
from inventory.shared.models import House

MONTHS_FORECAST = 3


@dataclass(frozen=True, kw_only=True)
class FreeStockExample(Example):
    """The pieces of one product, and why not all of them can be sold now."""

    product: str
    on_hand: int
    reserved: int
    on_hold: int
    elsewhere: int
    free: int
    sold_lately: int
    days_of_cover: int | None

    @classmethod
    def from_the_house(cls) -> Self | None:
        found = [each for each in stock.products() if each.stock.on_hand and each.product.is_honey]
        if not found:
            return None
        # One of which some are promised shows more.
        shown = max(found, key=lambda each: (each.stock.reserved > 0, each.stock.on_hand))
        held = shown.stock
        return cls(
            product=str(shown.product),
            on_hand=held.on_hand,
            reserved=held.reserved,
            on_hold=held.on_hold,
            elsewhere=held.on_hand - held.reserved - held.on_hold - held.free,
            free=held.free,
            sold_lately=shown.sold_lately,
            days_of_cover=shown.days_of_cover,
            url=reverse("orders:stock_detail", args=[shown.product.code]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(
            product="1 lb",
            on_hand=240,
            reserved=48,
            on_hold=12,
            elsewhere=0,
            free=180,
            sold_lately=120,
            days_of_cover=int(Decimal(180) * stock.RECENT.days / 120),
            is_invented=True,
        )


@dataclass(frozen=True)
class OpenBill:
    """One invoice that is not paid whole."""

    number: str
    due_on: date
    total_cents: int
    open_cents: int
    days_overdue: int


@dataclass(frozen=True, kw_only=True)
class OwedExample(Example):
    """The open invoices of one customer, by how long they are overdue."""

    customer: str
    on: date
    bills: Sequence[OpenBill]
    aging: Aging
    on_account_cents: int
    owed_cents: int

    @classmethod
    def from_the_house(cls) -> Self | None:
        today = timezone.localdate()
        account = next((each for each in money.owing(today).accounts if each.aging.total), None)
        if account is None:
            return None
        bills = [
            OpenBill(
                str(invoice),
                invoice.due_on,
                invoice.total_cents,
                invoice.open_cents,
                max((today - invoice.due_on).days, 0),
            )
            for invoice in Invoice.objects.open_of(account.customer)
        ]
        return cls(
            customer=str(account.customer),
            on=today,
            bills=bills,
            aging=account.aging,
            on_account_cents=account.on_account_cents,
            owed_cents=account.owed_cents,
            url=reverse("billing:statement", args=[account.customer.pk]),
        )

    @classmethod
    def invented(cls) -> Self:
        today = timezone.localdate()
        aging = Aging()
        bills = []
        for number, days, total, left in (
            ("F26-00001", 42, 29_160, 14_160),
            ("F26-00007", -12, 18_000, 18_000),
        ):
            due_on = today - timedelta(days=days)
            aging.add(due_on=due_on, cents=left, on=today)
            bills.append(OpenBill(number, due_on, total, left, max(days, 0)))
        return cls(
            customer="Corner Grocery",
            on=today,
            bills=bills,
            aging=aging,
            on_account_cents=2_000,
            owed_cents=aging.total - 2_000,
            is_invented=True,
        )


@dataclass(frozen=True)
class TaxedGroup:
    """What bears one rate on an invoice."""

    name: str
    percent: Decimal
    base_cents: int
    tax_cents: int


@dataclass(frozen=True, kw_only=True)
class TaxExample(Example):
    """The tax of one invoice, rate by rate."""

    number: str
    prices_include_tax: bool
    by_line: bool
    groups: Sequence[TaxedGroup]
    untaxed_cents: int
    net_cents: int
    tax_cents: int
    total_cents: int

    @classmethod
    def from_the_house(cls) -> Self | None:
        invoice = Invoice.objects.filter(tax_cents__gt=0).order_by("-pk").first()
        if invoice is None:
            return None
        sums: dict[tuple[str, Decimal], list[int]] = defaultdict(lambda: [0, 0])
        untaxed_cents = 0
        for line in InvoiceLine.objects.filter(invoice=invoice).prefetch_related("taxes"):
            taxes = line.taxes.all()
            untaxed_cents += 0 if taxes else line.amount_cents
            for each in taxes:
                row = sums[each.name, each.percent]
                row[0] += each.base_cents
                row[1] += each.tax_cents
        return cls(
            number=str(invoice),
            prices_include_tax=invoice.prices_include_tax,
            by_line=House.current().tax_rounding == House.Rounding.BY_LINE,
            groups=[
                TaxedGroup(name, percent.normalize(), base, taxed)
                for (name, percent), (base, taxed) in sums.items()
            ],
            untaxed_cents=untaxed_cents,
            net_cents=invoice.net_cents,
            tax_cents=invoice.tax_cents,
            total_cents=invoice.total_cents,
            url=reverse("billing:invoice_detail", args=[invoice.pk]),
        )

    @classmethod
    def invented(cls) -> Self:
        amounts, percent = [4_800, 1_275], Decimal("6.25")
        taxes = tax.round_taxes(amounts, [percent, percent], House.Rounding.BY_LINE)
        return cls(
            number="F26-00001",
            prices_include_tax=False,
            by_line=True,
            groups=[TaxedGroup("6.25 %", percent, sum(amounts), sum(taxes))],
            untaxed_cents=0,
            net_cents=sum(amounts),
            tax_cents=sum(taxes),
            total_cents=sum(amounts) + sum(taxes),
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class DepositExample(Example):
    """The drums that left on deposit, and the money that is held for them."""

    out: int
    back: int
    lost: int
    each_cents: int

    @property
    def taken(self) -> int:
        return self.out + self.back + self.lost

    @property
    def taken_cents(self) -> int:
        return self.taken * self.each_cents

    @property
    def back_cents(self) -> int:
        return self.back * self.each_cents

    @property
    def kept_cents(self) -> int:
        return self.lost * self.each_cents

    @property
    def held_cents(self) -> int:
        return self.out * self.each_cents

    @classmethod
    def from_the_house(cls) -> Self | None:
        line = (
            OrderLine.objects.filter(kind=OrderLine.Kind.DRUM_DEPOSIT, filled__gt=0)
            .order_by("-pk")
            .first()
        )
        if line is None:
            return None
        drums = FulfilmentLine.objects.on_deposit().filter(fulfilment__order=line.order)
        counted = drums.aggregate(
            all=Count("pk", distinct=True),
            lost=Count("drums_returned", filter=Q(drums_returned__is_lost=True), distinct=True),
            back=Count("drums_returned", filter=Q(drums_returned__is_lost=False), distinct=True),
        )
        if not counted["all"]:
            return None
        return cls(
            out=counted["all"] - counted["back"] - counted["lost"],
            back=counted["back"],
            lost=counted["lost"],
            each_cents=round(line.unit_price * 100),
            url=reverse("orders:order_detail", args=[line.order.number]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(out=2, back=3, lost=1, each_cents=3_500, is_invented=True)


@dataclass(frozen=True, kw_only=True)
class StandCashExample(Example):
    """The drawer of one stand on one day, and what was counted in it."""

    place: str
    day: date
    drawer: Drawer
    counted_cents: int | None

    @property
    def over_cents(self) -> int | None:
        if self.counted_cents is None:
            return None
        return self.counted_cents - self.drawer.expected_cents

    @classmethod
    def from_the_house(cls) -> Self | None:
        stand_day = StandDay.objects.select_related("place").first()
        if stand_day is None:
            return None
        closing = StandDayClose.objects.filter(stand_day=stand_day, undo_entry=None).last()
        return cls(
            place=str(stand_day.place),
            day=stand_day.day,
            drawer=drawers.drawer_of(stand_day),
            counted_cents=closing.counted_cents if closing else None,
            url=reverse("billing:stand_day", args=[stand_day.pk]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(
            place="Roadside stand",
            day=timezone.localdate(),
            drawer=Drawer(
                float_cents=5_000,
                sold_cents=18_650,
                on_top_cents=200,
                given_back_cents=900,
                in_cents=0,
                out_cents=4_000,
            ),
            counted_cents=18_900,
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class ForecastExample(Example):
    """What was sold of one product in the same months of earlier years."""

    product: str
    channel: str
    years: Sequence[tuple[date, date, int]]
    past: PastSales
    is_same_season: bool = True

    @property
    def sum(self) -> int:
        return sum(self.past.pieces)

    @property
    def careful(self) -> int:
        return self.past.expected(Outlook.CAREFUL)

    @property
    def hopeful(self) -> int:
        return self.past.expected(Outlook.HOPEFUL)

    @classmethod
    def from_the_house(cls) -> Self | None:
        history = past_sales.history(on=timezone.localdate(), months=MONTHS_FORECAST)
        if not any(any(each.pieces) for each in history.sales):
            return None
        past = max(history.sales, key=lambda each: (sum(each.pieces), -each.product_id))
        return cls(
            product=str(Product.objects.get(pk=past.product_id)),
            channel=str(ChannelCost.Channel(past.channel).label),
            years=[
                (period.first, period.last, pieces)
                for period, pieces in zip(past.periods, past.pieces, strict=True)
            ],
            past=past,
            is_same_season=history.is_same_season,
            url=reverse("planning:plan"),
        )

    @classmethod
    def invented(cls) -> Self:
        pieces = (412, 365, 390)
        years = [
            (date(year, 9, 1), date(year, 11, 30), count)
            for year, count in zip((2025, 2024, 2023), pieces, strict=True)
        ]
        return cls(
            product="1 lb",
            channel=str(ChannelCost.Channel.STAND.label),
            years=years,
            past=PastSales(0, ChannelCost.Channel.STAND, pieces),
            is_invented=True,
        )

"""What the first page answers at a glance."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models.expressions import Combinable
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts import queries as people
from apiary_sales.accounts.models import User
from apiary_sales.billing.queries import money, stand_marks
from apiary_sales.billing.queries.stand_marks import WaitingForOffice
from apiary_sales.customers import queries as customers
from apiary_sales.customers.queries import CertificateState
from apiary_sales.orders.queries import orders, stock
from apiary_sales.pricing.queries import prices_to_come
from inventory.bottling.models import BottlingDay, BottlingRun
from inventory.bottling.queries import bottling_days, packed_stock, runs
from inventory.bottling.rules.figures import RunFigures
from inventory.stock.queries import cleaning, held_goods, honey, shortages
from inventory.stock.queries.cleaning import CleaningToDo
from inventory.stock.queries.held_goods import HeldGoods
from inventory.stock.queries.shortages import ShortageRow

ROWS_MAX = 5
# Whoever may do one of these can settle what the books lack.
SETTLES = ("inventory.move_honey", "inventory.run_bottling", "inventory.adjust_stock")


@dataclass(frozen=True)
class Jar:
    """One size on the jar wall; `fraction` is how full the shelf is, as far as it is known."""

    label: str
    size_id: int
    pieces: int
    fraction: Decimal
    state: str
    url: str


@dataclass(frozen=True)
class Today:
    """The house at a glance; a part is None where the person has no business there."""

    in_hand: honey.HoneyInHand
    jars: list[Jar]
    to_fill: list[orders.OrderRow] | None
    to_fill_count: int
    missing: list[orders.OrderRow]
    owing: money.Receivables | None
    runs: list[tuple[BottlingRun, RunFigures | None]]
    held_goods: list[HeldGoods]
    cleaning: CleaningToDo | None
    shortages: list[ShortageRow]

    @property
    def unknown_lots(self) -> int:
        """Of how many shortages nobody knows the lot."""
        return sum(row.is_lot_unknown for row in self.shortages)

    to_renew: list[CertificateState]
    open_sheets: list[BottlingDay]
    stand_waiting: WaitingForOffice
    to_settle: list[bottling_days.ToSettle]
    prices_to_come: prices_to_come.PricesToCome | None
    short_by_season: list[stock.SizeCover]
    # What else was asked, by the names of the questions.
    answers: Mapping[str, Any]


def today(user: User, *, also: Mapping[str, Combinable] | None = None) -> Today:
    """Return the first page's figures, in a constant number of round trips.

    `also` are questions of one value each that are asked together with its own.
    """
    day = timezone.localdate()
    may_see_orders = user.has_perm("orders.take_orders") or user.has_perm("orders.fulfil_orders")
    may_bottle = user.has_perm("inventory.run_bottling")
    may_see_money = user.has_perm("billing.view_money")
    asked: dict[str, Combinable] = {"moisture_limit": honey.moisture_limit_asked(), **(also or {})}
    if may_see_money:
        asked |= stand_marks.waiting_asked()
    answers = people.answers(user, asked)
    to_fill = orders.rows(orders.to_fill(), on=day) if may_see_orders else None
    sizes = packed_stock.sizes()
    return Today(
        in_hand=honey.in_hand(moisture_limit=answers["moisture_limit"]),
        jars=_jars(sizes, links=may_see_orders),
        to_fill=to_fill and to_fill[:ROWS_MAX],
        to_fill_count=len(to_fill or ()),
        missing=[row for row in to_fill or () if row.missing],
        owing=money.owing(day) if may_see_money else None,
        runs=runs.recent(ROWS_MAX),
        held_goods=held_goods.in_stores(),
        shortages=shortages.open_rows() if any(map(user.has_perm, SETTLES)) else [],
        cleaning=cleaning.to_do() if user.has_perm("inventory.record_cleaning") else None,
        to_renew=(customers.to_renew(day) if user.has_perm("customers.manage_customers") else []),
        open_sheets=bottling_days.open_sheets() if may_bottle else [],
        to_settle=bottling_days.to_settle() if may_bottle else [],
        short_by_season=stock.short_by_season(sizes, on=day) if may_bottle else [],
        prices_to_come=(
            prices_to_come.soon(day) if user.has_perm("pricing.manage_prices") else None
        ),
        stand_waiting=stand_marks.waiting(answers) if may_see_money else WaitingForOffice(),
        answers=answers,
    )


def _jars(sizes: list[packed_stock.SizeStock], *, links: bool) -> list[Jar]:
    """Return the sizes that were ever stocked or are wanted, low ones first."""
    jars = [
        Jar(
            label=row.size.name,
            size_id=row.size.pk,
            pieces=row.free,
            fraction=_fraction(row),
            state=_state(row),
            url=_stock_page(row) if links else "",
        )
        for row in sizes
        if row.on_hand or row.low_stock_pieces
    ]
    order = {"out": 0, "low": 1, "": 2}
    return sorted(jars, key=lambda jar: order[jar.state])


def _stock_page(row: packed_stock.SizeStock) -> str:
    """Return the page of a size that is one product, else the list that opens it."""
    if row.is_plain:
        return reverse("orders:stock_detail", args=[row.products[0].product.code])
    return f"{reverse('orders:stock')}#size-{row.size.code}"


def _fraction(row: packed_stock.SizeStock) -> Decimal:
    """Return how full the shelf is; three times the low mark counts as full."""
    full = row.low_stock_pieces * 3 or row.free
    return min(Decimal(row.free) / full, Decimal(1)) if full else Decimal(0)


def _state(row: packed_stock.SizeStock) -> str:
    if not row.is_low:
        return ""
    return "low" if row.free else "out"

"""Whatever is bought, filled, sold, returned, corrected and closed, the journal is the books.

After any series of acts the trial balance is zero, the stock accounts are what the stock report
says, on every day, and what was closed answers as it was closed.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from apiary_sales.billing.models import WAYS, Invoice, MoneyMove
from apiary_sales.billing.queries import books, journal
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.services import closing, credit_notes, money_moves
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import orders
from apiary_sales.reports.frames import sales, stock
from apiary_sales.reports.frames.sales import SalesFilters
from apiary_sales.reports.frames.stock import StockFilters
from inventory.bottling.models import PartReceipt
from inventory.bottling.services import costs, delivery_corrections, reversals
from inventory.shared.errors import HouseError
from inventory.shared.services import books_lock
from inventory.stock.models import Balance, Lot, Posting, ProductionSettings
from inventory.stock.services import stores
from tests import builders, data_layer
from tests.billing.conftest import invoice_of, jars, pay
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db
FIRST = date(2026, 9, 1)

index = st.integers(min_value=0, max_value=5)
few = st.integers(min_value=0, max_value=40)
cents = st.integers(min_value=0, max_value=90_001)
acts = st.one_of(
    st.tuples(st.just("next_day"), st.integers(min_value=1, max_value=3)),
    st.tuples(st.just("fill"), few),
    st.tuples(st.just("invoice"), few, cents),
    st.tuples(st.just("sell"), few, index),
    st.tuples(st.just("goods_back"), index, few, st.booleans()),
    st.tuples(st.just("write_off"), index, few, st.sampled_from(["breakage", "gift", "own_use"])),
    st.tuples(st.just("count"), index, few),
    st.tuples(st.just("set_cost"), st.none() | cents),
    st.tuples(st.just("receive_parts"), st.integers(min_value=1, max_value=90), cents),
    st.tuples(st.just("correct_parts"), index, st.integers(min_value=1, max_value=400), cents),
    st.tuples(st.just("undo"), index),
    st.tuples(st.just("move_money"), st.sampled_from(list(WAYS)), cents, index, index),
    st.tuples(st.just("undo_move"), index),
    st.tuples(st.just("close"), st.integers(min_value=1, max_value=5)),
    st.tuples(st.just("open_again"), st.integers(min_value=3, max_value=9)),
)


def noon(day):
    return datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo("America/Chicago"))


class House:
    """A bottling room that sells at its shelf, and what its closed days said when they closed."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.day = FIRST
        self.room = bottling_room.set_up(received_on=FIRST)
        self.shop = builders.customer("Corner Grocery", credit_limit_cents=None)
        self.closed: dict[date, dict[str, int]] = {}

    def act(self, name: str, *figures) -> None:
        try:
            with transaction.atomic():
                getattr(self, name)(*figures)
        except HouseError:
            return

    def next_day(self, number):
        self.day += timedelta(days=number)

    def fill(self, pieces):
        run = bottling_room.plan(self.room, max(pieces, 1))
        bottling_room.record(
            run,
            pieces_filled=run.pieces_planned,
            pieces_broken=0,
            loss_grams=0,
            drawn_grams=460 * run.pieces_planned,
        )

    def invoice(self, pieces, price):
        invoice_of(self.shop, jars(self.room.product, pieces, str(price / 10_000)))
        pay(self.shop, price // 2)

    def sell(self, pieces, days_ago):
        stand_sales.sell(
            lines=[jars(self.room.product, pieces, "8.00")],
            place=self.room.shelf,
            payments=builders.paid("card", None),
            sold_by=self.person,
            key=builders.new_key(),
            sold_at=timezone.now() - timedelta(days=days_ago),
        )

    def goods_back(self, index, pieces, is_fit):
        goods = self._pick(FulfilmentLine.objects.filter(billed_cents__isnull=False), index)
        invoice = Invoice.objects.filter(order=goods.order_line.order, credits=None).first()
        credit_notes.credit(
            invoice=invoice,
            issued_by=self.person,
            key=builders.new_key(),
            reason="Leaked",
            goods_back=[GoodsBack(goods, pieces, self.room.shelf, is_fit=is_fit)],
        )

    def write_off(self, index, pieces, reason):
        there = self._pick(Balance.objects.filter(place=self.room.shelf, quantity__gt=0), index)
        stores.write_off(
            item=there.item,
            lot=there.lot,
            place=there.place,
            pieces=pieces,
            reason=reason,
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def count(self, index, less):
        there = self._pick(Balance.objects.filter(place=self.room.shelf, quantity__gt=0), index)
        stores.count(
            item=there.item,
            lot=there.lot,
            place=there.place,
            counted=max(there.quantity - less + 3, 0),
            reason="Counted",
            surplus_reason="Found behind the door",
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def set_cost(self, cost_cents):
        costs.set_lot_cost(lot=Lot.objects.get(pk=self.room.lot.pk), cost_cents=cost_cents)

    def receive_parts(self, pieces, cost_cents):
        bottling_room.receive(self.room.jar, self.room.shelf, pieces, cost_cents)

    def correct_parts(self, index, pieces, cost_cents):
        delivery_corrections.correct_parts(
            receipt=self._pick(PartReceipt.objects.all(), index),
            pieces=pieces,
            cost_cents=cost_cents,
            reason="Counted again",
            recorded_by=self.person,
            key=builders.new_key(),
        )

    def undo(self, index):
        posting = self._pick(Posting.objects.order_by("-id"), index)
        if posting.kind == Posting.Kind.SALE:
            orders.take_back(
                fulfilment=posting.fulfilment,
                taken_by=self.person,
                key=builders.new_key(),
                reason="Wrong",
            )
        else:
            reversals.reverse(
                posting=posting, recorded_by=self.person, key=builders.new_key(), note="Wrong"
            )

    def move_money(self, way, amount, fee, days_ago):
        money_moves.move(
            from_account=way[0],
            to_account=way[1],
            cents=amount,
            fee_cents=fee,
            moved_on=self.day - timedelta(days=days_ago),
            moved_by=self.person,
            key=builders.new_key(),
        )

    def undo_move(self, index):
        money_moves.undo(
            money_move=self._pick(MoneyMove.objects.order_by("id"), index),
            undone_by=self.person,
            reason="Wrong",
        )

    def close(self, days_ago):
        until = self.day - timedelta(days=days_ago)
        closing.close(until=until, locked_by=self.person, key=builders.new_key())
        self.closed[until] = said(until)

    def open_again(self, days_ago):
        until = self.day - timedelta(days=days_ago)
        books_lock.open_again(
            until=until, locked_by=self.person, key=builders.new_key(), reason="Wrong"
        )
        self.closed = {day: known for day, known in self.closed.items() if day <= until}

    def _pick(self, rows, index):
        found = list(rows[:6])
        if not found:
            raise HouseError("Nothing to choose.")
        return found[index % len(found)]


def said(day):
    """Return what each account says at the end of a day."""
    rows = Journal(JournalFilters(until=day)).trial_balance()
    return {row.account.key: row.closing_cents for row in rows if row.closing_cents}


def stock_report(day):
    frame = stock.value(StockFilters(on=day))
    found = {}
    for kind, value in zip(frame["kind"], frame["value_cents"].fillna(0), strict=True):
        found[f"stock:{kind}"] = found.get(f"stock:{kind}", 0) + int(value)
    return {key: value for key, value in found.items() if value}


MONEY_BACK_AND_FORTH = [
    ("fill", 9),
    ("sell", 3, 0),
    ("move_money", ("card", "transfer"), 2_400, 5, 0),
    ("move_money", ("owner", "cash"), 9_000, 0, 2),
    ("move_money", ("cash", "sales_tax"), 4_000, 0, 1),
    ("next_day", 2),
    ("close", 1),
    ("undo_move", 0),
    ("move_money", ("cash", "owner"), 5_000, 0, 3),
]
# What random days found once.
UNFIT_AND_CREDITED = [
    ("next_day", 1),
    ("fill", 12),
    ("invoice", 1, 2),
    ("goods_back", 0, 1, False),
]
CORRECTED_AFTER_OPENING = [
    ("next_day", 3),
    ("close", 3),
    ("open_again", 7),
    ("close", 4),
    ("fill", 30),
    ("open_again", 3),
    ("close", 4),
    ("correct_parts", 1, 381, 531),
    ("close", 4),
]


@pytest.mark.parametrize("cost_method", ["fifo", "average"])
@settings(
    max_examples=data_layer.examples(15),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(series=st.lists(acts, min_size=4, max_size=14))
@example(series=UNFIT_AND_CREDITED)
@example(series=CORRECTED_AFTER_OPENING)
@example(series=MONEY_BACK_AND_FORTH)
def test_the_journal_is_the_books_whatever_is_done(cost_method, series, db):
    with transaction.atomic(), time_machine.travel(noon(FIRST), tick=False):
        settings_row = ProductionSettings.current()
        settings_row.cost_method = cost_method
        settings_row.save()
        house = House()
        for number, (name, *figures) in enumerate(series):
            # No two acts are at the same moment: what was known at a closing is told by it.
            moment = noon(house.day) + timedelta(seconds=number)
            with time_machine.travel(moment, tick=False):
                house.act(name, *figures)
        with time_machine.travel(noon(house.day) + timedelta(hours=1), tick=False):
            assert list(journal.faults()) == []
            assert list(books.faults()) == []
            for number in range((house.day - FIRST).days + 1):
                day = FIRST + timedelta(days=number)
                balance = said(day)
                assert sum(balance.values()) == 0
                valued = {
                    key: value
                    for key, value in balance.items()
                    if key in ("stock:honey", "stock:packed", "stock:part", "stock:goods")
                }
                assert valued == stock_report(day), day
            for day, known in house.closed.items():
                assert said(day) == known
            sold = sales.lines(SalesFilters(goods=sales.ALL))
            cost_cents = int(sold["cost_cents"].sum()) if len(sold) else 0
            assert said(house.day).get("cost_of_sales", 0) == cost_cents
        transaction.set_rollback(True)

"""The office as a whole: random steps, allowed and not, beside an office kept on paper.

Each step is first tried on a copy of the paper (`office_model`). What the paper refuses must be
refused by the service and change nothing; what it does must be done, and come to the same stock,
reservations, bills, balances, taxes and books.
"""

import copy
from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.apps import apps
from django.db import connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from apiary_sales.billing.models import Adjustment, EntryLine, Invoice, Payment
from apiary_sales.billing.queries import books, cash_book, journal, purchase_books, tax_return
from apiary_sales.billing.queries.journal import Journal, JournalFilters
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import (
    account_months,
    adjustments,
    corrected_invoices,
    credit_notes,
    drum_deposits,
    invoices,
    payments,
)
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import (
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderLine,
    ReturnedDrum,
)
from apiary_sales.orders.queries import books as order_books
from apiary_sales.orders.rules.changes import OrderLineChange
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import changes, drum_register, orders, quotes, weigh_out
from apiary_sales.orders.services.weigh_out import DrumOnScale
from apiary_sales.pricing.models import TaxRate
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.services import books_lock
from inventory.stock.models import Balance, Counter, Place
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums
from tests import builders, data_layer, profiles
from tests.billing import office_model as paper

pytestmark = pytest.mark.django_db

START = datetime(2026, 9, 10, 12, tzinfo=ZoneInfo("America/Chicago"))
TERMS = {"Corner Grocery": 30, "Prairie Packers": 0}
EXEMPT = "Prairie Packers"
TARE_GRAMS = 18_000
CASH = ("cash", "check", "card", "transfer")
# The accounts of the books that the office on paper has too; those of stock are not among them.
MONEY = (*CASH, "receivable", "sales", "sales_tax", "deposits", "write_offs", "discounts")
# Between two audits of all laws of the books.
STEPS_BETWEEN_AUDITS = 10

index = st.integers(min_value=0, max_value=40)
customer = st.sampled_from(sorted(TERMS))
pieces = st.integers(min_value=0, max_value=30)
cents = st.integers(min_value=0, max_value=60_000)
# Whole cents mostly; the others are shared out over lots and parts.
price = st.sampled_from(
    [Decimal(text) for text in ("6.50", "0.35", "12.00", "0", "1.3333", "6.4850")]
)
pound_price = st.sampled_from([Decimal(text) for text in ("2.15", "2.1475", "0.0333")])
days_back = st.sampled_from([0, 0, 0, 1, 3, 20, -1])
method = st.sampled_from(["cash", "check", "card", "transfer"])
stand_method = st.sampled_from(["cash", "check", "card"])
how = st.sampled_from(["order", "quote", "handed over", "billed"])
place = st.sampled_from([paper.SHELF, paper.STAND])


class OfficeMachine(RuleBasedStateMachine):
    """An office in a house that a test made; its days end with `teardown`."""

    house: "House"

    def __init__(self) -> None:
        super().__init__()
        self.transaction = transaction.atomic()
        self.transaction.__enter__()
        self.now = START
        self.travel = time_machine.travel(START, tick=False)
        self.clock = self.travel.start()
        self.paper = copy.deepcopy(self.house.paper)
        self.lots = list(self.house.lots)
        self.steps = 0
        # The last act that was done, to be sent once more.
        self.last: Callable[[], Any] | None = None

    def teardown(self) -> None:
        try:
            self.audit()
            for each in (purchase_books, journal):
                assert list(each.faults()) == []
        finally:
            self.travel.stop()
            transaction.set_rollback(True)
            self.transaction.__exit__(None, None, None)

    # What every step does

    def act(self, plan: Callable[[paper.Office], Any], call: Callable[[str], Any]) -> Any:
        """Try a step on paper and in the house; return what it made on paper, and in the house."""
        self.tick()
        after, key = copy.deepcopy(self.paper), builders.new_key()
        try:
            planned = plan(after)
        except paper.Refused:
            before = digest()
            with pytest.raises(HouseError):
                call(key)
            assert digest() == before, "What was refused changed something."
            return None, None
        made = call(key)
        self.paper = after
        self.last = lambda: call(key)
        return planned, made

    def tick(self) -> None:
        """Let a minute pass, so that no two acts are of one moment."""
        self.now += timedelta(minutes=1)
        self.clock.move_to(self.now)

    @precondition(lambda self: self.last is not None)
    @rule()
    def send_the_same_form_again(self):
        before = digest()
        with pytest.raises(AlreadyRecorded):
            self.last()
        assert digest() == before, "A form that came twice changed something."

    @rule(days=st.sampled_from([1, 2, 8, 25]))
    def wait(self, days):
        self.now = (self.now + timedelta(days=days)).replace(hour=12, minute=0)
        self.tick()
        self.paper.today = self.now.date()
        # On a later day the same form may be refused for its days before it is looked for.
        self.last = None
        account_months.renew()
        drum_register.close_settled()

    @initialize(customer=customer, pieces=st.integers(min_value=1, max_value=9), price=price)
    def begin(self, customer, pieces, price):
        """Have something of each kind on invoices, so that every step has something to do."""
        jars = [paper.Line("jars", 0, pieces, price), paper.Line("jars", 1, 5, Decimal("9.25"))]
        self._sell(customer, jars, "billed", 0)
        drum = [
            paper.Line("honey", 0, self.paper.drums[0].grams, Decimal("2.1475")),
            paper.Line("deposit", 0, 1, Decimal("40.55")),
        ]
        self._sell(customer, drum, "billed", 0)

    def _sell(self, customer, lines, how, days):
        """Quote goods, or take an order for them, and hand them over and bill them at once."""
        self._order(customer, lines, how == "quote", days)
        chosen = len(self.paper.orders) - 1
        if how not in ("handed over", "billed") or self.paper.orders[chosen].status != paper.OPEN:
            return
        self._hand_over(chosen, None, self.now.date(), {}, False)
        if how == "billed":
            self._issue(chosen, self.now.date())

    # Stock

    @precondition(lambda self: len(self.paper.lots) < 12)
    @rule(product=st.integers(min_value=0, max_value=1), pieces=st.sampled_from([6, 24]))
    def bottle(self, product, pieces):
        self.tick()
        lot = builders.packed_lot(self.house.products[product], self.house.shelf, pieces)
        self.lots.append(lot.pk)
        self.paper.bottle(product, pieces)

    @rule(drum=st.integers(min_value=0, max_value=3), grams=st.sampled_from([290_000, 171_717]))
    def fill_drum(self, drum, grams):
        there = self.paper.drums[drum]
        if there.grams or not there.is_here:
            return
        self.act(
            lambda office: office.fill_drum(drum, grams),
            lambda key: drums.fill(
                tank=self.house.tank,
                drum=self.drum(drum),
                gross_grams=TARE_GRAMS + grams,
                recorded_by=self.house.person,
                key=key,
            ),
        )

    # Orders and quotes

    @rule(
        customer=customer,
        first=pieces,
        second=pieces,
        price=price,
        how=how,
        days=st.sampled_from([0, 5, 30, -1]),
    )
    def order_jars(self, customer, first, second, price, how, days):
        lines = [paper.Line("jars", 0, first, price)]
        if second:
            lines.append(paper.Line("jars", 1, second, Decimal("9.25")))
        self._sell(customer, lines, how, days)

    @rule(
        customer=customer,
        wanted=st.lists(st.integers(min_value=0, max_value=3), min_size=1, max_size=2, unique=True),
        price=pound_price,
        has_deposit=st.booleans(),
        jars=st.sampled_from([0, 4]),
        how=how,
        days=st.sampled_from([0, 5, 30]),
    )
    def order_drums(self, customer, wanted, price, has_deposit, jars, how, days):
        lines = [paper.Line("honey", drum, self.paper.drums[drum].grams, price) for drum in wanted]
        if has_deposit:
            lines.append(paper.Line("deposit", 0, len(wanted), Decimal("40.55")))
        if jars:
            lines.append(paper.Line("jars", 1, jars, Decimal("9.25")))
        self._sell(customer, lines, how, days)

    def _order(self, customer, lines, is_quote, days):
        wanted = [self.wanted(line) for line in lines]
        common = {"customer": self.house.customers[customer], "created_by": self.house.person}
        if is_quote:
            until = self.now.date() + timedelta(days=days)
            planned, made = self.act(
                lambda office: office.quote(customer, copy.deepcopy(lines), days),
                lambda key: quotes.quote(lines=wanted, valid_until=until, key=key, **common),
            )
        else:
            planned, made = self.act(
                lambda office: office.take(customer, copy.deepcopy(lines)),
                lambda key: orders.take(channel="shop", lines=wanted, key=key, **common),
            )
        if planned:
            self._note_order(planned, made)

    def _note_order(self, planned, made):
        planned.pk = made.pk
        for line, row in zip(planned.lines, made.lines.order_by("pk"), strict=True):
            line.pk = row.pk

    def wanted(self, line: paper.Line) -> LineWanted:
        if line.kind == "jars":
            product = self.house.products[line.what]
            return LineWanted(OrderLine.Kind.PACKED, line.quantity, line.price, product=product)
        if line.kind == "honey":
            drum = self.drum(line.what)
            return LineWanted(OrderLine.Kind.HONEY, line.quantity, line.price, drum=drum)
        return LineWanted(OrderLine.Kind.DRUM_DEPOSIT, line.quantity, line.price)

    def drum(self, number: int) -> Place:
        return Place.objects.get(pk=self.house.drums[number])

    @precondition(lambda self: self.quotes())
    @rule(index=index)
    def accept(self, index):
        chosen = pick(self.quotes(), index)
        self.act(
            lambda office: office.accept(chosen),
            lambda key: quotes.accept(
                order=self.order(chosen), accepted_by=self.house.person, key=key
            ),
        )

    @precondition(lambda self: self.quotes())
    @rule(index=index, is_declined=st.booleans())
    def end_quote(self, index, is_declined):
        chosen = pick(self.quotes(), index)
        person = self.house.person
        self.act(
            lambda office: office.end_quote(
                chosen, paper.DECLINED if is_declined else paper.WITHDRAWN
            ),
            lambda key: (
                quotes.decline(
                    order=self.order(chosen), declined_by=person, key=key, reason="Too dear"
                )
                if is_declined
                else quotes.withdraw(
                    order=self.order(chosen), withdrawn_by=person, key=key, reason="Mistake"
                )
            ),
        )

    def quotes(self) -> list[int]:
        return [at for at, order in enumerate(self.paper.orders) if order.valid_until]

    def order(self, at: int) -> Order:
        return Order.objects.get(pk=self.paper.orders[at].pk)

    @precondition(lambda self: self.paper.orders)
    @rule(index=index)
    def cancel(self, index):
        chosen = self._open_order(index)
        self.act(
            lambda office: office.cancel(chosen),
            lambda key: orders.cancel(
                order=self.order(chosen),
                cancelled_by=self.house.person,
                key=key,
                reason="Changed plans",
            ),
        )

    @precondition(lambda self: self.lines_of_jars())
    @rule(index=index, pieces=pieces)
    def change_pieces(self, index, pieces):
        chosen, at = pick(self.lines_of_jars(), index)
        line = self.paper.orders[chosen].lines[at]
        self.act(
            lambda office: office.change_quantity(chosen, at, pieces),
            lambda key: changes.change(
                order=self.order(chosen),
                changed_by=self.house.person,
                key=key,
                changes=[OrderLineChange(line.pk, quantity=pieces)],
            ),
        )

    def lines_of_jars(self) -> list[tuple[int, int]]:
        return [
            (at, place)
            for at, order in enumerate(self.paper.orders)
            if not order.is_stand
            for place, line in enumerate(order.lines)
            if line.kind == "jars" and not line.is_removed
        ]

    # Handing over

    @precondition(lambda self: self.paper.orders)
    @rule(index=index, pieces=st.none() | pieces, back=days_back, heavier=st.none() | index)
    def hand_over(self, index, pieces, back, heavier):
        """Hand over all of it, or so much of each line; drums at their weight or another."""
        chosen = self._open_order(index)
        order = self.paper.orders[chosen]
        day = self.paper.possible_day(back) if back >= 0 else self.now.date() + paper.DAY
        quantities = None
        if pieces is not None:
            quantities = {
                at: pieces if line.kind == "jars" else line.to_fill * (pieces % 2)
                for at, line in enumerate(order.lines)
                if line.kind != "deposit" and not line.is_removed
            }
        nets = {}
        if heavier is not None and order.status in (paper.OPEN, paper.PART_FILLED):
            nets = {
                at: line.quantity + (heavier - 20) * 170
                for at, line in enumerate(order.lines)
                if line.kind == "honey"
                and line.to_fill
                and (quantities is None or quantities[at] == line.to_fill)
            }
        self._hand_over(chosen, quantities, day, nets, heavier is not None and heavier % 3 > 0)

    def _hand_over(self, chosen, quantities, day, nets, is_confirmed):
        order = self.paper.orders[chosen]
        planned, made = self.act(
            lambda office: office.hand_over(chosen, quantities, day, nets, is_confirmed),
            lambda key: weigh_out.hand_over(
                order=self.order(chosen),
                filled_by=self.house.person,
                key=key,
                quantities=quantities
                and {order.lines[at].pk: quantity for at, quantity in quantities.items()},
                drums={order.lines[at].pk: DrumOnScale(net_grams=net) for at, net in nets.items()},
                filled_on=day,
                difference_is_right=is_confirmed,
            ),
        )
        if planned:
            self._note_goods(planned, made)

    def _open_order(self, index: int) -> int:
        """Return an order that is to be filled, and now and then any."""
        is_open = [
            at
            for at, order in enumerate(self.paper.orders)
            if order.status in (paper.OPEN, paper.PART_FILLED)
        ]
        return pick(is_open, index) if is_open and index % 5 else index % len(self.paper.orders)

    def _note_goods(self, planned, made):
        planned.pk = made.pk
        lines = self.paper.orders[planned.order].lines
        rows = {(row.order_line_id, row.lot_id): row for row in made.lines.all()}
        for goods in planned.goods:
            lot = self.lots[goods.lot] if goods.lot is not None else None
            if lines[goods.line].kind == "honey":
                lot = self.house.honey.pk
            row = rows.pop((lines[goods.line].pk, lot))
            assert (row.quantity, row.amount_cents) == (goods.quantity, goods.amount)
            goods.pk = row.pk
        assert not rows

    @precondition(lambda self: self.paper.hand_overs)
    @rule(index=index)
    def take_back(self, index):
        to_bill = self._not_billed()
        chosen = index % len(self.paper.hand_overs)
        if to_bill and index % 5:
            chosen = pick(to_bill, index)
        self.act(
            lambda office: office.take_back(chosen),
            lambda key: orders.take_back(
                fulfilment=Fulfilment.objects.get(pk=self.paper.hand_overs[chosen].pk),
                taken_by=self.house.person,
                key=key,
                reason="Wrong truck",
            ),
        )

    # Bills

    @precondition(lambda self: self.paper.hand_overs)
    @rule(index=index, back=days_back)
    def issue(self, index, back):
        self._issue(self._order_to_bill(index), self.now.date() - timedelta(days=back))

    def _issue(self, chosen, day):
        planned, made = self.act(
            lambda office: office.issue(chosen, day),
            lambda key: invoices.issue(
                order=self.order(chosen), issued_by=self.house.person, key=key, issued_on=day
            ),
        )
        if planned:
            self._note_bill(planned, made)

    def _order_to_bill(self, index: int) -> int:
        to_bill = self._not_billed()
        if to_bill and index % 5:
            return self.paper.hand_overs[pick(to_bill, index)].order
        return index % len(self.paper.orders)

    def _not_billed(self) -> list[int]:
        return [
            at
            for at, over in enumerate(self.paper.hand_overs)
            if not over.is_taken_back and not over.goods[0].is_billed
        ]

    def _note_bill(self, planned, made):
        planned.pk = made.pk
        assert made.due_on == planned.due
        if planned.credits is None:
            for line, row in zip(planned.lines, made.lines.order_by("pk"), strict=True):
                assert (Fraction(row.quantity), row.amount_cents, row.tax_cents) == (
                    line.quantity,
                    line.amount,
                    line.tax,
                )
                line.pk = row.pk

    @precondition(lambda self: self.paper.bills)
    @rule(
        index=index,
        line=st.none() | index,
        way=st.sampled_from(["goods", "goods", "price", "allowance"]),
        much=st.integers(min_value=0, max_value=12),
        back=st.none() | st.none() | st.integers(min_value=0, max_value=12),
        place=place,
        is_fit=st.booleans(),
        sends_again=st.sampled_from([False, False, True]),
    )
    def credit(self, index, line, way, much, back, place, is_fit, sends_again):
        chosen = index % len(self.paper.bills)
        bill = self.paper.bills[chosen]
        asked = credits = None
        if line is not None and bill.lines:
            at = line % len(bill.lines)
            asked, credits = self._asked(bill.lines[at], at, way, much)
        goods_back = self._goods_back(bill, line or 0, back, place, is_fit)
        planned, made = self.act(
            lambda office: office.credit(chosen, asked, back=goods_back, sends_again=sends_again),
            lambda key: credit_notes.credit(
                invoice=self.bill(chosen),
                issued_by=self.house.person,
                key=key,
                reason="Not as ordered",
                lines=credits,
                goods_back=[self._as_goods_back(bill, *goods_back)] if goods_back else (),
                sends_again=sends_again,
            ),
        )
        if planned:
            self._note_bill(planned, made)

    def _asked(self, line: paper.BillLine, at: int, way: str, much: int):
        """Return what is credited of a line, on paper and for the service."""
        row = Invoice.objects.get(lines=line.pk).lines.get(pk=line.pk)
        if way == "allowance":
            return [(at, way, much * 37)], [LineCredit(row, allowance_cents=much * 37)]
        if way == "price":
            off = Decimal(much) / 16
            return [(at, way, off)], [LineCredit(row, price_off=off)]
        if line.kind == "honey" or not much:
            return [(at, way, None)], [LineCredit(row)]
        return [(at, way, Fraction(much))], [LineCredit(row, quantity=Decimal(much))]

    def _goods_back(self, bill, index, back, place, is_fit):
        if back is None or not bill.lines:
            return None
        at = index % len(bill.lines)
        line = bill.lines[at]
        over = self.paper.hand_overs[line.hand_over]
        if line.kind == "honey":
            # Back in its own drum, as long as that is still out with it.
            what = self.paper.orders[over.order].lines[over.goods[line.goods].line].what
            drum = self.paper.drums[what]
            if not self.paper.is_out(line.hand_over, line.goods) or drum.is_here or drum.grams:
                return None
            return at, over.goods[line.goods].quantity - back * 1000, place, True
        goods = over.goods[line.goods]
        if goods.lot is not None and (goods.lot, paper.SHELF) not in self.paper.stock:
            place = paper.STAND
        return at, back, place, is_fit

    def _as_goods_back(self, bill, at, quantity, place, is_fit):
        line = bill.lines[at]
        goods = self.paper.hand_overs[line.hand_over].goods[line.goods]
        return GoodsBack(
            FulfilmentLine.objects.get(pk=goods.pk),
            quantity,
            None if line.kind == "honey" else self.house.places[place],
            is_fit,
        )

    def bill(self, at: int) -> Invoice:
        return Invoice.objects.get(pk=self.paper.bills[at].pk)

    @precondition(lambda self: self.paper.bills)
    @rule(index=index, line=index, price=st.none() | price)
    def correct(self, index, line, price):
        chosen = index % len(self.paper.bills)
        bill = self.paper.bills[chosen]
        prices = {}
        if price is not None and bill.lines:
            prices = {line % len(bill.lines): price}
        planned, made = self.act(
            lambda office: office.correct(chosen, prices),
            lambda key: corrected_invoices.correct(
                invoice=self.bill(chosen),
                issued_by=self.house.person,
                key=key,
                reason="Wrong price",
                changes={
                    bill.lines[at].pk: LineChange(unit_price=each) for at, each in prices.items()
                },
            ),
        )
        if planned:
            note, copied = planned
            self._note_bill(copied, made)
            if note is not None:
                self._note_bill(note, made.corrects.credit_notes.latest("pk"))

    # Money

    @rule(
        customer=customer,
        cents=cents,
        method=method,
        back=days_back,
        order=st.none() | index,
        is_kept=st.booleans(),
    )
    def pay(self, customer, cents, method, back, order, is_kept):
        """Pay what is due first, or keep it on the account, in advance for an order perhaps."""
        day = self.now.date() - timedelta(days=back)
        chosen = None
        if order is not None and self.paper.orders:
            chosen = order % len(self.paper.orders)
        self._receive(customer, cents, method, day, {} if is_kept else None, chosen)

    @precondition(lambda self: self.paper.bills)
    @rule(index=index, more=st.sampled_from([0, 0, 1, -1, -500, 3000]), method=method)
    def pay_bill(self, index, more, method):
        """Pay a bill exactly, or put more or less to it than is open."""
        chosen = self._open_bill(index)
        bill = self.paper.bills[chosen]
        if bill.customer is None:
            return
        put = bill.open + more
        self._receive(bill.customer, put, method, self.now.date(), {chosen: put})

    def _open_bill(self, index: int) -> int:
        is_open = [at for at, bill in enumerate(self.paper.bills) if bill.open]
        return pick(is_open, index) if is_open and index % 5 else index % len(self.paper.bills)

    def _receive(self, customer, cents, method, day, allocations, order=None):
        planned, made = self.act(
            lambda office: office.receive(customer, cents, method, day, allocations, order),
            lambda key: payments.receive(
                customer=self.house.customers[customer],
                amount_cents=cents,
                method=method,
                received_by=self.house.person,
                key=key,
                received_on=day,
                allocations=allocations and {self.bill(at): put for at, put in allocations.items()},
                order=None if order is None else self.order(order),
            ),
        )
        if planned:
            planned.pk = made.pk

    @rule(customer=customer, cents=cents, takes_all=st.booleans())
    def pay_back(self, customer, cents, takes_all):
        amount = self.paper.account(customer) if takes_all else cents
        planned, made = self.act(
            lambda office: office.pay_back(customer, amount),
            lambda key: payments.pay_back(
                customer=self.house.customers[customer],
                amount_cents=amount,
                method="cash",
                paid_by=self.house.person,
                key=key,
            ),
        )
        if planned:
            planned.pk = made.pk

    @precondition(lambda self: self.paper.payments)
    @rule(index=index)
    def reverse(self, index):
        chosen = index % len(self.paper.payments)
        self.act(
            lambda office: office.reverse(chosen),
            lambda key: payments.reverse(
                payment=Payment.objects.get(pk=self.paper.payments[chosen].pk),
                reversed_by=self.house.person,
                key=key,
                reason="Bounced",
            ),
        )

    @precondition(lambda self: self.paper.bills)
    @rule(index=index)
    def use_on_account(self, index):
        chosen = self._open_bill(index)
        last = self.last
        self.act(
            lambda office: office.use_on_account(chosen),
            lambda _key: payments.use_on_account(invoice=self.bill(chosen)),
        )
        # It has no key: done twice it uses what is left.
        self.last = last

    @precondition(lambda self: self.paper.bills)
    @rule(index=index, cents=st.none() | cents, is_discount=st.booleans(), lowers=st.booleans())
    def adjust(self, index, cents, is_discount, lowers):
        chosen = self._open_bill(index)
        amount = self.paper.bills[chosen].open if cents is None else cents // 50
        kind = Adjustment.Kind.DISCOUNT if is_discount else Adjustment.Kind.WRITE_OFF
        account = "discounts" if is_discount else "write_offs"
        planned, made = self.act(
            lambda office: office.adjust(chosen, account, amount, lowers),
            lambda key: adjustments.adjust(
                invoice=self.bill(chosen),
                kind=kind,
                cents=amount,
                made_by=self.house.person,
                key=key,
                reason="A small rest",
                lowers_tax=lowers,
            ),
        )
        if planned:
            planned.pk = made.pk

    @precondition(lambda self: self.paper.adjustments)
    @rule(index=index)
    def undo_adjustment(self, index):
        chosen = index % len(self.paper.adjustments)
        self.act(
            lambda office: office.undo_adjustment(chosen),
            lambda key: adjustments.undo(
                adjustment=Adjustment.objects.get(pk=self.paper.adjustments[chosen].pk),
                undone_by=self.house.person,
                key=key,
                reason="It was paid after all",
            ),
        )

    # The stand

    @rule(
        first=pieces,
        second=st.integers(min_value=0, max_value=6),
        price=price,
        place=place,
        method=stand_method,
        tendered=st.sampled_from([0, 5_000, 40_000]),
        discount=st.sampled_from([0, 0, 0, 101, 100_000]),
        customer=st.none() | customer,
        back=st.sampled_from([0, 0, 1, 4]),
    )
    def sell(self, first, second, price, place, method, tendered, discount, customer, back):
        lines = [paper.Line("jars", 0, first, price)]
        if second:
            lines.append(paper.Line("jars", 1, second, Decimal("9.25")))
        day = self.paper.possible_day(back)
        sold_at = None
        if day != self.now.date():
            sold_at = datetime(day.year, day.month, day.day, 15, tzinfo=START.tzinfo)
        planned, made = self.act(
            lambda office: office.sell(
                copy.deepcopy(lines), place, method, tendered, discount, customer, day
            ),
            lambda key: stand_sales.sell(
                lines=[self.wanted(line) for line in lines],
                place=self.house.places[place],
                payments=builders.paid(method, tendered if method == "cash" else None),
                sold_by=self.house.person,
                key=key,
                customer=self.house.customers[customer] if customer else None,
                sold_at=sold_at,
                discount_cents=discount,
            ),
        )
        if planned:
            order, over, bill, payment = planned
            self._note_order(order, made.order)
            self._note_goods(over, made.fulfilment)
            self._note_bill(bill, made.invoice)
            if payment:
                payment.pk = made.payment.pk

    @precondition(lambda self: self.paper.bills)
    @rule(index=index)
    def take_back_sale(self, index):
        receipts = [at for at, bill in enumerate(self.paper.bills) if bill.is_receipt]
        chosen = pick(receipts, index) if receipts else index % len(self.paper.bills)
        planned, made = self.act(
            lambda office: office.take_back_sale(chosen),
            lambda key: stand_sales.take_back(
                receipt=self.bill(chosen), taken_by=self.house.person, key=key, reason="Leaked"
            ),
        )
        if planned:
            self._note_bill(planned, made)

    # Drums and their deposits

    @precondition(lambda self: self.drums_that_left())
    @rule(index=index, outcome=st.sampled_from(["empty", "damaged", "lost"]))
    def drum_back(self, index, outcome):
        over, at = pick(self.drums_that_left(), index)
        goods = self.paper.hand_overs[over].goods[at]
        outing = FulfilmentLine.objects.get(pk=goods.pk)
        person = self.house.person
        _planned, made = self.act(
            lambda office: office.drum_back(over, at, outcome),
            lambda key: (
                drum_deposits.report_lost(
                    outings=[outing], reported_by=person, key=key, note="Not found"
                )
                if outcome == "lost"
                else drum_register.take_back(
                    outings=[outing], received_by=person, key=key, outcome=outcome
                )
            ),
        )
        if made and outcome == "damaged":
            self.paper.damaged[-1].pk = made.drums.get().pk

    def drums_that_left(self) -> list[tuple[int, int]]:
        return [
            (over, at)
            for over, hand_over in enumerate(self.paper.hand_overs)
            for at, goods in enumerate(hand_over.goods)
            if self.paper.orders[hand_over.order].lines[goods.line].kind == "honey"
        ]

    @precondition(lambda self: self.paper.damaged)
    @rule(index=index)
    def keep_deposit(self, index):
        chosen = index % len(self.paper.damaged)
        self.act(
            lambda office: office.keep_deposit(chosen),
            lambda key: drum_deposits.keep(
                returned_drum=ReturnedDrum.objects.get(pk=self.paper.damaged[chosen].pk),
                kept_by=self.house.person,
                key=key,
                reason="Dented",
            ),
        )

    @precondition(lambda self: self.bills_with_deposits())
    @rule(index=index, drums=st.integers(min_value=0, max_value=3))
    def credit_deposit(self, index, drums):
        chosen = pick(self.bills_with_deposits(), index)
        planned, made = self.act(
            lambda office: office.credit_deposit(chosen, drums),
            lambda key: credit_notes.credit_deposit(
                invoice=self.bill(chosen), drums=drums, issued_by=self.house.person, key=key
            ),
        )
        if planned:
            self._note_bill(planned, made)

    def bills_with_deposits(self) -> list[int]:
        return [
            at
            for at, bill in enumerate(self.paper.bills)
            if any(line.kind == "deposit" for line in bill.lines)
        ]

    # Closed days

    @rule(back=st.sampled_from([0, 1, 4, 15, 30]), opens=st.booleans(), opens_all=st.booleans())
    def close_the_books(self, back, opens, opens_all):
        """Close the books up to a day, or open them again, some days or all."""
        until = self.now.date() - timedelta(days=back)
        person = self.house.person
        if not opens or self.paper.closed_until is None:
            self.act(
                lambda office: office.close(until),
                lambda key: books_lock.close(until=until, locked_by=person, key=key),
            )
            return
        left = None if opens_all else until
        self.act(
            lambda office: office.open_again(left),
            lambda key: books_lock.open_again(
                until=left, locked_by=person, key=key, reason="A bill was found"
            ),
        )

    # What must hold

    @invariant()
    def the_house_is_as_on_paper(self):
        assert self.stock_in_the_house() == self.stock_on_paper()
        assert dict(Order.objects.values_list("pk", "status")) == {
            order.pk: order.status for order in self.paper.orders
        }
        assert {
            pk: figures
            for pk, *figures in OrderLine.objects.values_list(
                "pk", "quantity", "filled", "amount_cents"
            )
        } == {
            line.pk: [line.quantity, line.filled, line.amount]
            for order in self.paper.orders
            for line in order.lines
            if not line.is_removed
        }
        assert {
            pk: figures
            for pk, *figures in Invoice.objects.values_list("pk", "total_cents", "open_cents")
        } == {bill.pk: [bill.total, bill.open] for bill in self.paper.bills}
        self.compare_books()
        self.steps += 1
        if self.steps % STEPS_BETWEEN_AUDITS == 0:
            self.audit()

    def stock_in_the_house(self) -> dict[tuple[int, str], tuple[int, int]]:
        return {
            (lot, code): (quantity, reserved)
            for lot, code, quantity, reserved in Balance.objects.filter(is_physical=True)
            .exclude(place__kind=Place.Kind.RETURNED)
            .exclude(quantity=0)
            .values_list("lot", "place__code", "quantity", "reserved")
        }

    def stock_on_paper(self) -> dict[tuple[int, str], tuple[int, int]]:
        reserved = self.paper.reserved()
        there = {
            (self.lots[lot], place): (pieces, reserved.get((lot, place), 0))
            for (lot, place), pieces in self.paper.stock.items()
        }
        honey = self.house.honey.pk
        there[honey, "tank"] = (self.paper.tank_grams, 0)
        for number, drum in enumerate(self.paper.drums):
            promised = drum.grams if drum.line is not None else 0
            there[honey, f"drum-{number}"] = (drum.grams, promised)
        return {key: figures for key, figures in there.items() if figures[0]}

    def compare_books(self) -> None:
        """The trial balance by account and day it counts on, and what each customer owes."""
        entered = {
            (account, day): cents
            for account, day, cents in EntryLine.objects.order_by()
            .values_list("account", "entry__entered_on")
            .annotate(Sum("amount_cents"))
        }
        assert without_zeros(entered) == without_zeros(self.paper.entries)
        owed = dict(CustomerBalance.objects.values_list("customer__name", "owed_cents"))
        assert {name: owed.get(name, 0) for name in TERMS} == {
            name: sum(bill.open for bill in self.paper.bills if bill.customer == name)
            - self.paper.account(name)
            for name in TERMS
        }

    def audit(self) -> None:
        """No law of the books is broken, and the reports say what is on paper."""
        for each in (stock_books, order_books, books):
            assert list(each.faults()) == []
        apart = Balance.objects.filter(place__kind=Place.Kind.RETURNED, quantity__gt=0)
        assert dict(apart.values_list("lot", "quantity")) == {
            self.lots[lot]: pieces for lot, pieces in self.paper.apart.items()
        }
        in_use = Place.objects.filter(kind=Place.Kind.DRUM, is_active=True)
        assert set(in_use.values_list("code", flat=True)) == {
            f"drum-{number}" for number, drum in enumerate(self.paper.drums) if drum.is_here
        }
        first, last = date(2026, 1, 1), self.now.date()
        for since, until in ((first, last), (last.replace(day=1), last)):
            found = tax_return.of_period(since, until)
            assert found.difference_cents == 0
            assert found.gross_cents == sum(
                net for day, net in self.paper.sales.items() if since <= day <= until
            )
            # What an adjustment takes off the tax is in it too.
            assert found.tax_cents == -self.paper.on_account("sales_tax", since, until)
        rows = Journal(JournalFilters(until=last)).trial_balance()
        assert sum(row.closing_cents for row in rows) == 0
        assert without_zeros(
            {row.account.key: row.closing_cents for row in rows if row.account.key in MONEY}
        ) == without_zeros({account: self.paper.on_account(account) for account in MONEY})
        kept = cash_book.cash_book(first, last)
        assert without_zeros({each.account: each.closing_cents for each in kept.accounts}) == {
            account: cents for account in CASH if (cents := self.paper.on_account(account))
        }
        out = [
            goods.pk
            for over, at in self.drums_that_left()
            if self.paper.is_out(over, at)
            and not (goods := self.paper.hand_overs[over].goods[at]).outcomes
        ]
        still_out = FulfilmentLine.objects.still_out()
        assert sorted(still_out.values_list("pk", flat=True)) == sorted(out)


def pick(things: list, index: int):
    return things[index % len(things)]


def without_zeros(sums: dict) -> dict:
    return {key: cents for key, cents in sums.items() if cents}


def digest() -> list:
    """Return how many rows each table has, and what is kept beside rows: balances and states."""
    tables = sorted({model._meta.db_table for model in apps.get_models(include_auto_created=True)})
    counts = " UNION ALL ".join(f"SELECT '{table}', count(*) FROM {table}" for table in tables)
    with connection.cursor() as cursor:
        cursor.execute(counts)
        rows = sorted(cursor.fetchall())
    kept = (
        Balance.objects.values_list("pk", "quantity", "reserved"),
        Invoice.objects.values_list("pk", "open_cents"),
        CustomerBalance.objects.values_list("pk", "owed_cents"),
        Order.objects.values_list("pk", "status"),
        OrderLine.objects.values_list("pk", "quantity", "filled", "amount_cents", "gave_way"),
        FulfilmentLine.objects.values_list("pk", "returned", "sent_again", "billed_cents"),
        Place.objects.values_list("pk", "is_active", "tare_grams"),
        Counter.objects.values_list("pk", "last"),
    )
    return [rows, *(sorted(table) for table in kept)]


class House:
    """What the office begins with: two products in lots, four drums, and a tank of honey."""

    def __init__(self) -> None:
        self.person = builders.person()
        self.shelf = builders.place(paper.SHELF, Place.Kind.SHELF)
        self.stand = builders.place(paper.STAND, Place.Kind.STAND)
        self.places = {paper.SHELF: self.shelf, paper.STAND: self.stand}
        self.products = [builders.product("One pound"), builders.product("Two pound", "2")]
        self.customers = {
            name: builders.customer(name, terms_days=days, credit_limit_cents=None)
            for name, days in TERMS.items()
        }
        builders.certificate(self.customers[EXEMPT])
        for goods, percent, since in (
            ("honey", "6.25", date(2026, 1, 1)),
            ("honey", "7", paper.NEW_RATE_ON),
            ("other", "8.125", date(2026, 1, 1)),
        ):
            TaxRate.objects.create(
                name="Sales tax",
                goods=goods,
                percent=Decimal(percent),
                valid_from=since,
                jurisdiction="Iowa",
            )
        self.paper = paper.Office(START.date(), TERMS, {EXEMPT})
        self.lots: list[int] = []
        for product, place, pieces in (
            (0, paper.SHELF, 17),
            (0, paper.STAND, 23),
            (0, paper.SHELF, 40),
            (1, paper.SHELF, 31),
            (1, paper.STAND, 12),
        ):
            lot = builders.packed_lot(self.products[product], self.places[place], pieces)
            self.lots.append(lot.pk)
            self.paper.lots.append(product)
            self.paper.stock[len(self.lots) - 1, place] = pieces
        self.tank = builders.place("tank", capacity_litres=Decimal(9_000))
        self.honey = builders.lot_in(self.tank, 5_000_000)
        self.paper.tank_grams = 5_000_000
        self.drums = []
        for number, grams in enumerate((295_000, 288_314, 301_007, 0)):
            drum = builders.place(f"drum-{number}", Place.Kind.DRUM, tare_grams=TARE_GRAMS)
            self.drums.append(drum.pk)
            self.paper.drums.append(paper.Drum(0))
            if grams:
                drums.fill(
                    tank=self.tank,
                    drum=drum,
                    gross_grams=TARE_GRAMS + grams,
                    recorded_by=self.person,
                    key=builders.new_key(),
                )
                self.paper.fill_drum(number, grams)


def test_the_office_is_as_on_paper_whatever_is_done(house):
    OfficeMachine.house = House()
    run_state_machine_as_test(
        OfficeMachine,
        settings=settings(
            max_examples=data_layer.examples(profiles.examples(6, nightly=200)),
            stateful_step_count=50,
            deadline=None,
            # Not `explain`, which tries each failure many times more.
            phases=(Phase.explicit, Phase.reuse, Phase.generate, Phase.shrink),
            suppress_health_check=list(HealthCheck),
        ),
    )

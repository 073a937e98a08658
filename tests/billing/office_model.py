"""The office on paper: what stock, orders, bills, money and books must be, worked out by hand.

It stands beside the service in `test_office_machine` and shares no code with it: plain numbers, its
own rounding, and the rules of the house written down once more. Each act either raises `Refused`,
as the service must refuse it, or changes the paper; who tries an act does so on a copy. Things are
called by their place in their list, so that a copy can be used in place of the first.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from math import floor

DAY = timedelta(days=1)
POUND = Fraction(45359237, 100000)
HONEY_PERCENT = Fraction("6.25")
# From this day on honey is taxed at another rate.
NEW_RATE_ON = date(2026, 10, 5)
NEW_HONEY_PERCENT = Fraction(7)
OTHER_PERCENT = Fraction("8.125")
SHELF, STAND = "shelf", "stand"
OPEN, PART_FILLED, FILLED, CANCELLED = "open", "part_filled", "filled", "cancelled"
QUOTED, DECLINED, WITHDRAWN = "quoted", "declined", "withdrawn"


class Refused(Exception):
    """The house does not do that."""


def refuse_unless(holds: bool) -> None:
    if not holds:
        raise Refused


def half_up(cents: Fraction) -> int:
    """Round cents that are not below zero to whole ones, half a cent up."""
    return floor(cents + Fraction(1, 2))


def share(total: int, part: int | Fraction, whole: int | Fraction) -> int:
    """Return the part of some cents that falls to a part of a whole, half a cent to the even."""
    return round(Fraction(total) * Fraction(part) / Fraction(whole))


def split(total: int, weights: list[int]) -> list[int]:
    """Split cents by weights as differences of rounded running totals."""
    upto = [0]
    for index in range(len(weights)):
        upto.append(share(total, sum(weights[: index + 1]), sum(weights)))
    return [after - before for before, after in pairwise(upto)]


def honey_percent(day: date) -> Fraction:
    return NEW_HONEY_PERCENT if day >= NEW_RATE_ON else HONEY_PERCENT


def printed_pounds(grams: int, price: Decimal, cents: int) -> Fraction:
    """Return the pounds with the fewest decimals, two to five, that multiply out to the amount."""
    rounded = [Fraction(share(10**places, grams, POUND), 10**places) for places in range(2, 6)]
    fitting = [pounds for pounds in rounded if half_up(pounds * Fraction(price) * 100) == cents]
    return (fitting or rounded)[0]


@dataclass
class Drum:
    """A drum: what is in it, the order line that has it reserved, and whether it is here."""

    grams: int
    line: tuple[int, int] | None = None
    is_here: bool = True


@dataclass
class Line:
    """A line of an order; `promised` is what is reserved for it, by lot and place."""

    kind: str
    what: int
    quantity: int
    price: Decimal
    discount: int = 0
    rounding: int = 0
    filled: int = 0
    promised: dict[tuple[int, str], int] = field(default_factory=dict)
    is_removed: bool = False
    pk: int = 0

    @property
    def gross(self) -> int:
        if self.kind == "honey":
            return half_up(Fraction(self.quantity) / POUND * Fraction(self.price) * 100)
        return half_up(self.quantity * Fraction(self.price) * 100)

    @property
    def amount(self) -> int:
        return self.gross - self.discount + self.rounding

    @property
    def to_fill(self) -> int:
        return self.quantity - self.filled


@dataclass
class Goods:
    """What one hand-over took of one line and lot, and where from."""

    line: int
    lot: int | None
    quantity: int
    amount: int
    sources: dict[str, int]
    is_billed: bool = False
    returned: int = 0
    sent_again: int = 0
    # Of a drum that left: how it came back, "lost" before that perhaps.
    outcomes: list[str] = field(default_factory=list)
    pk: int = 0


@dataclass
class HandOver:
    order: int
    day: date
    goods: list[Goods]
    is_taken_back: bool = False
    pk: int = 0


@dataclass
class Order:
    customer: str | None
    lines: list[Line]
    status: str
    valid_until: date | None = None
    is_stand: bool = False
    was_cancelled: bool = False
    pk: int = 0


@dataclass
class BillLine:
    """A printed line, and what of it no credit note took back."""

    hand_over: int
    goods: int
    kind: str
    quantity: Fraction
    price: Decimal
    amount: int
    tax: int
    left_quantity: Fraction
    left_amount: int
    left_tax: int
    # The cents of drums whose deposit is kept, with their tax.
    kept: int = 0
    kept_tax: int = 0
    # The drums whose deposit is kept or given back, and its cents without tax.
    settled_drums: int = 0
    settled: int = 0
    pk: int = 0


@dataclass
class Bill:
    """An invoice or receipt, or a credit note, whose lines are left out."""

    customer: str | None
    order: int
    issued: date
    due: date
    total: int
    lines: list[BillLine]
    is_receipt: bool = False
    open: int = 0
    credits: int | None = None
    is_corrected: bool = False
    pk: int = 0


@dataclass
class Payment:
    customer: str | None
    amount: int
    method: str
    day: date
    order: int | None = None
    put: dict[int, int] = field(default_factory=dict)
    ever_put: set[int] = field(default_factory=set)
    is_reversed: bool = False
    pk: int = 0

    @property
    def left(self) -> int:
        return self.amount - sum(self.put.values())


@dataclass
class Adjustment:
    bill: int
    kind: str
    net: int
    tax: int
    is_undone: bool = False
    pk: int = 0


@dataclass
class Kept:
    """A drum that came back damaged."""

    hand_over: int
    goods: int
    is_kept: bool = False
    pk: int = 0


class Office:
    """Two products on a shelf and a stand, drums, two customers, and the books."""

    def __init__(self, today: date, terms: dict[str, int], exempt: set[str]) -> None:
        self.today = today
        self.terms, self.exempt = terms, exempt
        self.closed_until: date | None = None
        # What was there on which day is looked at no further back than this one's morrow.
        self.last_arrival = today
        self.lots: list[int] = []
        self.stock: dict[tuple[int, str], int] = {}
        self.apart: dict[int, int] = {}
        self.tank_grams = 0
        self.drums: list[Drum] = []
        self.orders: list[Order] = []
        self.hand_overs: list[HandOver] = []
        self.bills: list[Bill] = []
        self.payments: list[Payment] = []
        self.adjustments: list[Adjustment] = []
        self.damaged: list[Kept] = []
        self.last_issued: dict[str, date] = {}
        self.entries: dict[tuple[str, date], int] = {}
        # What lines of bills come to before tax, deposits too, by the day they count on.
        self.sales: dict[date, int] = {}

    # Stock

    def bottle(self, product: int, pieces: int) -> None:
        self.lots.append(product)
        self.stock[len(self.lots) - 1, SHELF] = pieces

    def fill_drum(self, drum: int, grams: int) -> None:
        there = self.drums[drum]
        refuse_unless(0 < grams <= self.tank_grams and there.is_here and not there.grams)
        self.tank_grams -= grams
        there.grams = grams
        self.last_arrival = self.today

    def reserved(self) -> dict[tuple[int, str], int]:
        """Return what is reserved of each lot at each place."""
        sums: dict[tuple[int, str], int] = {}
        for order in self.orders:
            for line in order.lines:
                for key, pieces in line.promised.items():
                    sums[key] = sums.get(key, 0) + pieces
        return {key: pieces for key, pieces in sums.items() if pieces}

    def _pick(self, product: int, pieces: int, place: str | None = None) -> dict:
        """Return where free jars are taken from, the oldest lot first and the shelf before."""
        reserved, picked = self.reserved(), {}
        for key in sorted(self.stock):
            if self.lots[key[0]] == product and place in (None, key[1]):
                part = min(pieces, self.stock[key] - reserved.get(key, 0))
                if part:
                    picked[key] = part
                    pieces -= part
        refuse_unless(pieces == 0)
        return picked

    def _promise(self, order: int, index: int, pieces: int) -> None:
        line = self.orders[order].lines[index]
        if line.kind == "jars":
            for key, part in self._pick(line.what, pieces).items():
                line.promised[key] = line.promised.get(key, 0) + part
        elif line.kind == "honey":
            self._check_drum(line)
            self.drums[line.what].line = (order, index)

    def _check_drum(self, line: Line) -> None:
        drum = self.drums[line.what]
        refuse_unless(drum.is_here and drum.line is None and drum.grams == line.quantity)

    def _release(self, order: Order) -> None:
        for line in order.lines:
            line.promised.clear()
        for drum in self.drums:
            if drum.line is not None and self.orders[drum.line[0]] is order:
                drum.line = None

    # Orders

    def take(self, customer: str, lines: list[Line]) -> Order:
        return self._new_order(Order(customer, lines, OPEN))

    def quote(self, customer: str, lines: list[Line], days: int) -> Order:
        refuse_unless(days >= 0)
        return self._new_order(Order(customer, lines, QUOTED, self.today + timedelta(days)))

    def _new_order(self, order: Order) -> Order:
        refuse_unless(bool(order.lines))
        refuse_unless(all(line.quantity > 0 and line.price >= 0 for line in order.lines))
        self.orders.append(order)
        for index, line in enumerate(order.lines):
            if order.status == OPEN:
                self._promise(len(self.orders) - 1, index, line.quantity)
            elif line.kind == "honey":
                self._check_drum(line)
        return order

    def accept(self, index: int) -> Order:
        order = self.orders[index]
        refuse_unless(order.status == QUOTED and self.today <= order.valid_until)
        for place, line in enumerate(order.lines):
            self._promise(index, place, line.quantity)
        order.status = OPEN
        return order

    def end_quote(self, index: int, status: str) -> None:
        refuse_unless(self.orders[index].status == QUOTED)
        self.orders[index].status = status

    def cancel(self, index: int) -> None:
        order = self.orders[index]
        refuse_unless(order.status in (OPEN, PART_FILLED))
        self._release(order)
        if order.status == PART_FILLED:
            for place, line in enumerate(order.lines):
                if line.quantity != line.filled:
                    self._let_be(index, place, line.filled)
        order.status = FILLED if order.status == PART_FILLED else CANCELLED
        order.was_cancelled = True

    def _let_be(self, index: int, place: int, quantity: int) -> None:
        """Let a line be of another quantity at its price, never of less than is handed over."""
        line, given = self.orders[index].lines[place], self._given(index, place)
        line.quantity = quantity
        room = max(0, line.gross - given)
        is_all = line.filled and quantity == line.filled
        line.discount = room if is_all else min(line.discount, room)
        line.rounding = max(0, given - line.gross)
        line.is_removed = not quantity and not any(
            goods.line == place
            for over in self.hand_overs
            if over.order == index
            for goods in over.goods
        )

    def change_quantity(self, index: int, place: int, quantity: int) -> None:
        """Let a line of jars be of another quantity."""
        order, line = self.orders[index], self.orders[index].lines[place]
        is_quote = order.status == QUOTED
        refuse_unless(not is_quote or self.today <= order.valid_until)
        refuse_unless(is_quote or order.status in (OPEN, PART_FILLED))
        refuse_unless(line.filled <= quantity != line.quantity and quantity >= 0)
        less = line.quantity - quantity
        self._let_be(index, place, quantity)
        refuse_unless(any(line.quantity for line in order.lines))
        if not is_quote:
            if less < 0:
                self._promise(index, place, -less)
            for key in sorted(line.promised, reverse=True):
                part = min(max(less, 0), line.promised[key])
                less -= part
                self._take_promise(line, key, part)
            self._set_status(order)

    def _take_promise(self, line: Line, key: tuple[int, str], part: int) -> None:
        line.promised[key] -= part
        if not line.promised[key]:
            del line.promised[key]

    def _set_status(self, order: Order) -> None:
        order.status = FILLED
        if any(line.to_fill for line in order.lines):
            order.status = PART_FILLED if any(line.filled for line in order.lines) else OPEN

    def _given(self, order: int, place: int) -> int:
        """Return what of the amount of a line hand-overs have, less what is to be sent again."""
        return sum(
            goods.amount - share(goods.amount, goods.sent_again, goods.quantity)
            for over in self.hand_overs
            if over.order == order and not over.is_taken_back
            for goods in over.goods
            if goods.line == place
        )

    # Handing over

    def possible_day(self, days_back: int) -> date:
        """Return an earlier day on which everything was there, or today."""
        return max(self.today - timedelta(days_back), min(self.today, self.last_arrival + DAY))

    def hand_over(
        self,
        index: int,
        quantities: dict[int, int] | None,
        day: date,
        nets: dict[int, int] | None = None,
        is_confirmed: bool = False,
    ) -> HandOver:
        """Hand over some of the lines; `nets` is what drums weigh, by line."""
        order = self.orders[index]
        refuse_unless(order.status in (OPEN, PART_FILLED) and day <= self.today)
        if quantities is None:
            wanted = {at: line.to_fill for at, line in enumerate(order.lines) if line.to_fill}
        else:
            wanted = {}
            for at, quantity in quantities.items():
                line = order.lines[at]
                refuse_unless(0 <= quantity <= line.to_fill)
                refuse_unless(line.kind != "honey" or quantity in (0, line.to_fill))
                if quantity:
                    wanted[at] = quantity
            drums = sum(order.lines[at].kind == "honey" for at in wanted)
            for at, line in enumerate(order.lines):
                if line.kind == "deposit" and at not in quantities and line.to_fill and drums:
                    wanted[at] = min(line.to_fill, drums)
            refuse_unless(bool(wanted))
        for at, net in (nets or {}).items():
            line = order.lines[at]
            refuse_unless(line.kind == "honey" and at in wanted and net > 0)
            refuse_unless(is_confirmed or abs(net - line.quantity) * 100 <= line.quantity)
        for at, net in (nets or {}).items():
            wanted[at] = order.lines[at].quantity = self.drums[order.lines[at].what].grams = net
        over = HandOver(index, day, [])
        leaves = any(line.kind == "deposit" for line in order.lines)
        for at, quantity in wanted.items():
            self._take_goods(over, at, quantity, leaves)
        self.hand_overs.append(over)
        self._set_status(order)
        return over

    def _take_goods(self, over: HandOver, at: int, quantity: int, leaves: bool) -> None:
        line = self.orders[over.order].lines[at]
        portions: dict[int | None, dict[str, int]] = {}
        if line.kind == "jars":
            wanted = quantity
            for key in sorted(line.promised):
                part = min(wanted, line.promised[key])
                if part:
                    self._take_promise(line, key, part)
                    self.stock[key] -= part
                    portions.setdefault(key[0], {})[key[1]] = part
                    wanted -= part
            assert wanted == 0, "What is to fill is reserved."
        else:
            portions[None] = {"": quantity}
        if line.kind == "honey":
            drum = self.drums[line.what]
            drum.grams, drum.line, drum.is_here = 0, None, not leaves
        self._write_goods(over, at, portions, self._given(over.order, at))

    def _write_goods(self, over: HandOver, at: int, portions: dict, given: int) -> None:
        line = self.orders[over.order].lines[at]
        weights = [sum(sources.values()) for sources in portions.values()]
        rest = line.to_fill - sum(weights)
        for (lot, sources), weight, cents in zip(
            portions.items(), weights, split(line.amount - given, [*weights, rest]), strict=False
        ):
            over.goods.append(Goods(at, lot, weight, cents, sources))
        line.filled += sum(weights)

    def take_back(self, index: int, *, is_credited: bool = False) -> None:
        """Undo a hand-over: the goods are where they were, and reserved again."""
        over = self.hand_overs[index]
        order = self.orders[over.order]
        refuse_unless(not over.is_taken_back)
        refuse_unless(is_credited or not any(goods.is_billed for goods in over.goods))
        refuse_unless(not any(goods.returned or goods.sent_again for goods in over.goods))
        drums = [goods for goods in over.goods if order.lines[goods.line].kind == "honey"]
        refuse_unless(not any(self.drums[order.lines[goods.line].what].grams for goods in drums))
        over.is_taken_back = True
        self.last_arrival = self.today
        keeps = not (order.is_stand or order.was_cancelled)
        for goods in over.goods:
            line = order.lines[goods.line]
            line.filled -= goods.quantity
            if line.kind == "honey":
                promised_to = (over.order, goods.line) if keeps else None
                self.drums[line.what] = Drum(goods.quantity, promised_to)
            for place, pieces in goods.sources.items() if line.kind == "jars" else ():
                key = (goods.lot, place)
                self.stock[key] += pieces
                if keeps:
                    line.promised[key] = line.promised.get(key, 0) + pieces
        if keeps:
            self._set_status(order)
        else:
            order.status = FILLED if any(line.filled for line in order.lines) else CANCELLED

    # Bills

    def issue(self, index: int, issued: date) -> Bill:
        """Bill what was handed over and is on no bill."""
        found = [
            (over, at)
            for over, hand_over in enumerate(self.hand_overs)
            if hand_over.order == index and not hand_over.is_taken_back
            for at, goods in enumerate(hand_over.goods)
            if not goods.is_billed
        ]
        refuse_unless(bool(found))
        # As the lines of the order are, and in the order in which they were handed over.
        found.sort(key=lambda pair: self.hand_overs[pair[0]].goods[pair[1]].line)
        priced = []
        for over, at in found:
            goods = self.hand_overs[over].goods[at]
            line = self.orders[index].lines[goods.line]
            quantity = Fraction(goods.quantity)
            if line.kind == "honey":
                quantity = printed_pounds(goods.quantity, line.price, goods.amount + line.discount)
            priced.append((over, at, quantity, line.price, goods.amount))
        bill = self._bill(index, priced, issued)
        self._save(bill, issued, "R" if bill.is_receipt else "I")
        for payment in self._money_left(bill.customer):
            if payment.order == index:
                self._put(payment, self.bills.index(bill))
        return bill

    def _bill(self, index: int, priced: list, issued: date) -> Bill:
        order = self.orders[index]
        supplied = max(self.hand_overs[over].day for over, *_rest in priced)
        refuse_unless(supplied <= issued <= self.today)
        lines = []
        for over, at, quantity, price, amount in priced:
            kind = order.lines[self.hand_overs[over].goods[at].line].kind
            percent = OTHER_PERCENT if kind == "deposit" else honey_percent(supplied)
            if order.customer in self.exempt:
                percent = Fraction(0)
            tax = half_up(amount * percent / 100)
            lines.append(
                BillLine(
                    hand_over=over,
                    goods=at,
                    kind=kind,
                    quantity=quantity,
                    price=price,
                    amount=amount,
                    tax=tax,
                    left_quantity=quantity,
                    left_amount=amount,
                    left_tax=tax,
                )
            )
        days = 0 if order.is_stand else self.terms[order.customer]
        return Bill(
            customer=order.customer,
            order=index,
            issued=issued,
            due=issued + timedelta(days),
            total=sum(line.amount + line.tax for line in lines),
            lines=lines,
            is_receipt=order.is_stand,
        )

    def _save(self, bill: Bill, issued: date, series: str) -> None:
        """Number a bill, count its goods as billed and enter it."""
        series = f"{series}{issued:%y}"
        refuse_unless(self.counting_day(issued) == issued)
        refuse_unless(issued >= self.last_issued.get(series, issued))
        self.last_issued[series] = issued
        bill.open = bill.total
        for line in bill.lines:
            self.hand_overs[line.hand_over].goods[line.goods].is_billed = True
        self.bills.append(bill)
        day = issued
        if bill.is_receipt:
            day = max(self.hand_overs[line.hand_over].day for line in bill.lines)
        deposits = sum(line.amount for line in bill.lines if line.kind == "deposit")
        net, tax = sum(line.amount for line in bill.lines), sum(line.tax for line in bill.lines)
        self._enter_bill(day, net, tax, deposits)

    def _enter_bill(self, day: date, net: int, tax: int, deposits: int) -> None:
        self._enter(
            day, receivable=net + tax, sales=deposits - net, deposits=-deposits, sales_tax=-tax
        )
        counts_on = self.counting_day(day)
        self.sales[counts_on] = self.sales.get(counts_on, 0) + net

    def credit(
        self,
        index: int,
        asked: list[tuple[int, str, Fraction | int | None]] | None,
        *,
        back: tuple[int, int, str, bool] | None = None,
        sends_again: bool = False,
        gives_back: bool = False,
    ) -> Bill:
        """Credit lines by goods, price or allowance, or all that is left.

        `back` is the line whose goods came back, how many, to which place, and whether fit.
        """
        bill = self.bills[index]
        refuse_unless(bill.credits is None)
        is_paid = any(index in payment.ever_put for payment in self.payments)
        refuse_unless(bill.customer is not None or not is_paid or gives_back)
        left = [line for line in bill.lines if line.left_quantity or line.left_amount]
        refuse_unless(bool(left))
        if asked is None:
            asked = [(bill.lines.index(line), "goods", None) for line in left]
        refuse_unless(bool(asked))
        parts = [self._credit_line(bill.lines[at], way, much) for at, way, much in asked]
        if back is not None:
            self._come_back(bill.lines[back[0]], *back[1:])
        note = self._save_note(index, parts)
        if sends_again:
            self._send_again(
                bill,
                {
                    at: quantity
                    for (at, way, _much), (_line, quantity, _cents, _tax) in zip(
                        asked, parts, strict=True
                    )
                    if way == "goods" and bill.lines[at].kind != "deposit"
                },
            )
        return note

    def _credit_line(
        self, line: BillLine, way: str, much: Fraction | int | None
    ) -> tuple[BillLine, Fraction, int, int]:
        """Take so much off what is left of a line; return it with quantity, cents and tax."""
        refuse_unless(bool(line.left_quantity or line.left_amount))
        quantity = Fraction(0)
        if way == "allowance":
            cents = much
        elif way == "price":
            refuse_unless(line.left_quantity > 0)
            cents = half_up(line.left_quantity * Fraction(much) * 100)
        else:
            quantity = line.left_quantity if much is None else Fraction(much)
            refuse_unless(0 < quantity <= line.left_quantity or not line.left_quantity)
            gone = half_up(line.left_quantity * Fraction(line.price) * 100) - line.left_amount
            if quantity != line.left_quantity:
                gone = share(gone, quantity, line.left_quantity)
            cents = half_up(quantity * Fraction(line.price) * 100) - gone
            cents = min(max(cents, 0), line.left_amount)
        if way != "goods":
            refuse_unless(0 < cents <= line.left_amount)
        tax = line.left_tax
        if cents != line.left_amount:
            tax = share(line.left_tax, cents, line.left_amount)
        line.left_quantity -= quantity
        line.left_amount -= cents
        line.left_tax -= tax
        return line, quantity, cents, tax

    def _come_back(self, line: BillLine, pieces: int, place: str, is_fit: bool) -> None:
        over = self.hand_overs[line.hand_over]
        goods = over.goods[line.goods]
        refuse_unless(line.kind != "deposit" and not over.is_taken_back)
        refuse_unless(1 <= pieces <= goods.quantity - goods.returned)
        goods.returned += pieces
        self.last_arrival = self.today
        if line.kind == "honey":
            drum = self.drums[self.orders[over.order].lines[goods.line].what]
            drum.grams, drum.is_here = pieces, True
        elif is_fit:
            self.stock[goods.lot, place] = self.stock.get((goods.lot, place), 0) + pieces
        else:
            self.apart[goods.lot] = self.apart.get(goods.lot, 0) + pieces

    def _save_note(self, index: int, parts: list[tuple[BillLine, Fraction, int, int]]) -> Bill:
        bill = self.bills[index]
        net, tax = sum(part[2] for part in parts), sum(part[3] for part in parts)
        series = f"C{self.today:%y}"
        self.last_issued[series] = self.today
        note = Bill(
            bill.customer, bill.order, self.today, self.today, -net - tax, [], credits=index
        )
        self.bills.append(note)
        deposits = sum(part[2] for part in parts if part[0].kind == "deposit")
        self._enter_bill(self.today, -net, -tax, -deposits)
        self._make_room(index)
        beyond = net + tax - bill.open
        for payment in reversed(self.payments):
            part = min(max(beyond, 0), payment.put.get(index, 0))
            if part:
                payment.put[index] -= part
                bill.open += part
                beyond -= part
        bill.open -= net + tax
        return note

    def _make_room(self, index: int) -> None:
        """Take adjustments back, the last one first, as far as the credits need it."""
        credited = sum(note.total for note in self.bills if note.credits == index)
        in_force = [each for each in self.adjustments if each.bill == index and not each.is_undone]
        over = -(credited + self.bills[index].total - sum(each.net + each.tax for each in in_force))
        for each in reversed(in_force):
            if over > 0:
                over -= each.net + each.tax
                self._undo(each)

    def _send_again(self, bill: Bill, credited: dict[int, Fraction]) -> None:
        order = self.orders[bill.order]
        refuse_unless(not order.is_stand and bool(credited))
        refuse_unless(all(bill.lines[at].kind == "jars" for at in credited))
        again: dict[int, int] = {}
        for at, quantity in credited.items():
            goods = self.hand_overs[bill.lines[at].hand_over].goods[bill.lines[at].goods]
            pieces = min(goods.quantity - goods.sent_again, int(quantity))
            goods.sent_again += pieces
            order.lines[goods.line].filled -= pieces
            again[goods.line] = again.get(goods.line, 0) + pieces
        for at, pieces in again.items():
            self._promise(bill.order, at, pieces)
        self._set_status(order)

    def credit_deposit(self, index: int, drums: int) -> Bill:
        bill = self.bills[index]
        held = [line for line in bill.lines if line.kind == "deposit" and line.left_quantity]
        refuse_unless(1 <= drums <= sum(line.left_quantity for line in held))
        parts = []
        for line in held:
            if back := min(drums, int(line.left_quantity)):
                parts.append(self._credit_line(line, "goods", back))
                drums -= back
                line.settled_drums += back
                line.settled += parts[-1][2]
        return self._save_note(index, parts)

    def correct(self, index: int, prices: dict[int, Decimal]) -> tuple[Bill | None, Bill]:
        """Credit what is left of an invoice and bill its goods anew; return both papers."""
        bill = self.bills[index]
        refuse_unless(bill.credits is None and not bill.is_receipt and not bill.is_corrected)
        # What is credited stays so, but all of it is billed anew where nothing else is left:
        # all but the deposits that were settled with the buyer.
        left = [
            (at, line.left_quantity, line.left_amount)
            for at, line in enumerate(bill.lines)
            if line.left_quantity
        ]
        whole = [
            (at, line.quantity - line.settled_drums, line.amount - line.settled)
            for at, line in enumerate(bill.lines)
            if line.quantity > line.settled_drums
        ]
        priced = []
        refuse_unless(bool(left or whole))
        for at, quantity, amount in left or whole:
            line = bill.lines[at]
            discount = max(0, half_up(quantity * Fraction(line.price) * 100) - amount)
            price = prices.get(at, line.price)
            gross = half_up(quantity * Fraction(price) * 100)
            refuse_unless(price >= 0 and discount <= gross)
            priced.append((line.hand_over, line.goods, quantity, price, gross - discount))
        note = self.credit(index, None) if left else None
        copy = self._bill(bill.order, priced, self.today)
        copy.due = max(self.today, bill.due)
        bill.is_corrected = True
        self._save(copy, self.today, "I")
        for payment in self._money_left(copy.customer):
            if index in payment.ever_put:
                self._put(payment, len(self.bills) - 1)
        return note, copy

    # Money

    def account(self, customer: str | None) -> int:
        """Return the money of a customer that no bill uses and that was not given back."""
        return sum(
            payment.left
            for payment in self.payments
            if payment.customer == customer and not payment.is_reversed
        )

    def _money_left(self, customer: str | None) -> list[Payment]:
        found = [
            payment
            for payment in self.payments
            if payment.customer == customer is not None
            and not payment.is_reversed
            and payment.left > 0
        ]
        return sorted(found, key=lambda payment: payment.day)

    def _put(self, payment: Payment, index: int) -> int:
        """Put what a payment has left to a bill, as far as the account reaches."""
        bill = self.bills[index]
        cents = min(bill.open, payment.left, self.account(bill.customer))
        if cents:
            self._settle(payment, index, cents)
        return cents

    def _settle(self, payment: Payment, index: int, cents: int) -> None:
        payment.put[index] = payment.put.get(index, 0) + cents
        payment.ever_put.add(index)
        self.bills[index].open -= cents

    def receive(
        self,
        customer: str | None,
        amount: int,
        method: str,
        day: date,
        allocations: dict[int, int] | None,
        order: int | None = None,
    ) -> Payment:
        refuse_unless(amount > 0 and day <= self.today)
        refuse_unless(order is None or self.orders[order].customer == customer is not None)
        if allocations is None:
            due = [
                (bill.due, index)
                for index, bill in enumerate(self.bills)
                if bill.customer == customer and bill.open and order in (None, bill.order)
            ]
            rest, allocations = amount, {}
            for _day, index in sorted(due):
                allocations[index] = min(rest, self.bills[index].open)
                rest -= allocations[index]
        for index, cents in allocations.items():
            refuse_unless(self.bills[index].customer == customer)
            refuse_unless(0 <= cents <= self.bills[index].open)
        refuse_unless(sum(allocations.values()) <= amount)
        payment = Payment(customer, amount, method, day, order)
        self.payments.append(payment)
        self._enter(day, **{method: amount, "receivable": -amount})
        for index, cents in allocations.items():
            if cents:
                self._settle(payment, index, cents)
        return payment

    def pay_back(self, customer: str, amount: int) -> Payment:
        refuse_unless(0 < amount <= self.account(customer))
        payment = Payment(customer, -amount, "cash", self.today)
        self.payments.append(payment)
        self._enter(self.today, cash=-amount, receivable=amount)
        return payment

    def reverse(self, index: int) -> None:
        payment = self.payments[index]
        refuse_unless(not payment.is_reversed)
        refuse_unless(payment.customer is None or payment.left <= self.account(payment.customer))
        payment.is_reversed = True
        self._enter(self.today, **{payment.method: -payment.amount, "receivable": payment.amount})
        for bill, cents in payment.put.items():
            self.bills[bill].open += cents
        payment.put = {}

    def use_on_account(self, index: int) -> None:
        bill = self.bills[index]
        refuse_unless(bill.open > 0)
        left = self._money_left(bill.customer)
        mine = [payment for payment in left if payment.order == bill.order]
        free = [payment for payment in left if payment.order is None]
        refuse_unless(sum(self._put(payment, index) for payment in [*mine, *free]) > 0)

    def adjust(self, index: int, kind: str, cents: int, lowers_tax: bool) -> Adjustment:
        bill = self.bills[index]
        refuse_unless(1 <= cents <= bill.open)
        # What is kept for drums is not credited.
        tax_left = sum(line.left_tax + line.kept_tax for line in bill.lines)
        whole = tax_left + sum(line.left_amount + line.kept for line in bill.lines)
        tax = share(tax_left, cents, whole) if lowers_tax and whole > 0 else 0
        made = Adjustment(index, kind, cents - tax, tax)
        self.adjustments.append(made)
        self._enter_adjustment(made, 1)
        return made

    def undo_adjustment(self, index: int) -> None:
        refuse_unless(not self.adjustments[index].is_undone)
        self._undo(self.adjustments[index])

    def _undo(self, made: Adjustment) -> None:
        made.is_undone = True
        self._enter_adjustment(made, -1)

    def _enter_adjustment(self, made: Adjustment, sign: int) -> None:
        self.bills[made.bill].open -= sign * (made.net + made.tax)
        self._enter(
            self.today,
            receivable=-sign * (made.net + made.tax),
            sales_tax=sign * made.tax,
            **{made.kind: sign * made.net},
        )

    # The stand

    def sell(
        self,
        lines: list[Line],
        place: str,
        method: str,
        tendered: int,
        discount: int,
        customer: str | None,
        day: date,
    ) -> tuple[Order, HandOver, Bill, Payment | None]:
        refuse_unless(bool(lines))
        refuse_unless(all(1 <= line.quantity <= 1000 and line.price >= 0 for line in lines))
        whole = [line.gross for line in lines]
        refuse_unless(0 <= discount <= sum(whole))
        if discount:
            for line, part in zip(lines, split(discount, whole), strict=True):
                line.discount = part
        order = Order(customer, lines, FILLED, is_stand=True)
        self.orders.append(order)
        over = HandOver(len(self.orders) - 1, day, [])
        for at, line in enumerate(lines):
            portions: dict[int | None, dict[str, int]] = {}
            for key, part in self._pick(line.what, line.quantity, place).items():
                self.stock[key] -= part
                portions.setdefault(key[0], {})[key[1]] = part
            self._write_goods(over, at, portions, 0)
        self.hand_overs.append(over)
        bill = self.issue(len(self.orders) - 1, self.today)
        if method == "cash":
            refuse_unless(bill.total <= tendered <= bill.total + 100_000)
        payment = None
        if bill.total:
            put = {len(self.bills) - 1: bill.total}
            payment = self.receive(customer, bill.total, method, day, put)
        return order, over, bill, payment

    def take_back_sale(self, index: int) -> Bill:
        receipt = self.bills[index]
        refuse_unless(receipt.is_receipt)
        refuse_unless(not any(note.credits == index for note in self.bills))
        paid = next((each for each in self.payments if index in each.ever_put), None)
        over = next(at for at, each in enumerate(self.hand_overs) if each.order == receipt.order)
        self.take_back(over, is_credited=True)
        note = self.credit(index, None, gives_back=True)
        if paid is not None and not paid.is_reversed:
            self.reverse(self.payments.index(paid))
        return note

    # Drums

    def is_out(self, over: int, at: int) -> bool:
        """Tell whether these goods are a drum that left and is not back, be it lost."""
        hand_over = self.hand_overs[over]
        lines = self.orders[hand_over.order].lines
        goods = hand_over.goods[at]
        return (
            lines[goods.line].kind == "honey"
            and any(line.kind == "deposit" for line in lines)
            and not hand_over.is_taken_back
            and not goods.returned
            and set(goods.outcomes) <= {"lost"}
        )

    def drum_back(self, over: int, at: int, outcome: str) -> None:
        goods = self.hand_overs[over].goods[at]
        refuse_unless(self.is_out(over, at) and (outcome != "lost" or not goods.outcomes))
        goods.outcomes.append(outcome)
        if outcome == "empty":
            self.drums[self._drum(over, at)].is_here = True
        elif outcome == "damaged":
            self.damaged.append(Kept(over, at))
        elif (deposit := self._deposit(over)) is not None:
            self._keep(deposit)

    def keep_deposit(self, index: int) -> None:
        kept = self.damaged[index]
        deposit = self._deposit(kept.hand_over)
        refuse_unless(deposit is not None and not kept.is_kept)
        kept.is_kept = True
        self._keep(deposit)

    def _drum(self, over: int, at: int) -> int:
        hand_over = self.hand_overs[over]
        return self.orders[hand_over.order].lines[hand_over.goods[at].line].what

    def _deposit(self, over: int) -> BillLine | None:
        """Return the line of a bill that holds a deposit for drums of this hand-over."""
        lines = self.orders[self.hand_overs[over].order].lines
        deposits = {
            at
            for at, goods in enumerate(self.hand_overs[over].goods)
            if lines[goods.line].kind == "deposit"
        }
        if not deposits:
            return None
        billed = [
            bill
            for bill in self.bills
            if any(line.hand_over == over and line.goods in deposits for line in bill.lines)
        ]
        refuse_unless(bool(billed))
        for bill in billed:
            for line in bill.lines:
                if line.kind == "deposit" and line.left_quantity >= 1:
                    return line
        return None

    def _keep(self, deposit: BillLine) -> None:
        cents = share(deposit.left_amount, 1, deposit.left_quantity)
        tax = share(deposit.left_tax, 1, deposit.left_quantity)
        deposit.left_quantity -= 1
        deposit.left_amount -= cents
        deposit.left_tax -= tax
        deposit.kept += cents
        deposit.kept_tax += tax
        deposit.settled_drums += 1
        deposit.settled += cents
        self._enter(self.today, deposits=cents, sales=-cents)

    # The books

    def on_account(self, account: str, since: date = date.min, until: date = date.max) -> int:
        """Return what counts on an account of the books on some days."""
        return sum(
            cents
            for (name, day), cents in self.entries.items()
            if name == account and since <= day <= until
        )

    def close(self, until: date) -> None:
        refuse_unless(until < self.today)
        refuse_unless(self.closed_until is None or until > self.closed_until)
        self.closed_until = until

    def open_again(self, until: date | None) -> None:
        refuse_unless(self.closed_until is not None)
        refuse_unless(until is None or until < self.closed_until)
        self.closed_until = until

    def counting_day(self, day: date) -> date:
        if self.closed_until is None or day > self.closed_until:
            return day
        return self.closed_until + DAY

    def _enter(self, day: date, **amounts: int) -> None:
        assert sum(amounts.values()) == 0
        for account, cents in amounts.items():
            key = (account, self.counting_day(day))
            self.entries[key] = self.entries.get(key, 0) + cents

"""Two weeks of work of a busy honey house, told by the services, that leave nothing behind.

Every kind of entry is in it: honey of its own and bought, blends, drums, runs, parts, goods, sales
at the stand, shop orders with invoices and payments, credits, drums on deposit, what was undone,
counted and written off. At the end all vessels and shelves are empty again and all is paid, so that
any number of such weeks may come one after the other (see `house.py`, which copies them).
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import count

import time_machine
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import (
    credit_notes,
    drum_deposits,
    expenses,
    invoices,
    payments,
    stand,
)
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import drum_register, orders
from inventory.bottling.models import BottlingRun, PackagingPart, Product
from inventory.bottling.services import goods, parts, reversals, runs
from inventory.stock.models import Balance, Item, Place, Posting
from inventory.stock.services import dips, drums, honey, places, purchases, stores, suppliers
from inventory.stock.services.arrivals import VesselReceived

DAYS = 15
GOODS, DRUMS, NEW_CUSTOMERS = 20, 4, 8
SALES_A_DAY, ORDERS_A_DAY = 14, 2
FILLED = {"half-pound": 260, "1-lb": 300, "quart": 120, "12-oz": 200, "2-lb": 120}
PIECES_OF_GOODS = 60
KILOGRAM = 1_000


def set_up() -> None:
    """Add the tanks, drums, goods and suppliers that all the weeks share."""
    for kind in Place.Kind:
        if kind not in (*Place.VESSELS, *Place.FOR_GOODS):
            Place.objects.outside(kind)
    Item.objects.honey()
    for name in ("Olmo Honey", "Glass and Lids", "Valley Wax Works"):
        suppliers.add(name=name, kind="producer", country="US")
    for number in range(1, 5):
        shape = places.Shape(form="upright", diameter_mm=1120, length_mm=1200)
        places.create(
            kind=Place.Kind.TANK, code=f"big-{number}", name=f"Big tank {number}", shape=shape
        )
    places.create_drums(
        first_code="B-001", count=DRUMS, tare_grams=17_500, capacity_litres=Decimal(212)
    )
    for number in range(1, GOODS + 1):
        goods.save(name=f"Candle of pattern {number}")


def tell(first: date) -> None:
    """Tell the two weeks from this day on, each day at its own time."""
    Fortnight(first).tell()


class Fortnight:
    """The two weeks while they are told."""

    def __init__(self, first: date) -> None:
        self.first = first
        self.keys = count(1)
        people = {user.role: user for user in User.objects.all()}
        self.bottler = people[User.Role.BOTTLING]
        self.seller = people[User.Role.STAND]
        self.office = people[User.Role.OFFICE]
        self.tanks = list(Place.objects.filter(code__startswith="big-").order_by("code"))
        self.drums = list(Place.objects.filter(code__startswith="B-").order_by("code"))
        self.storeroom = Place.objects.get(code="storeroom")
        self.stand = Place.objects.get(code="stand")
        self.goods = list(Product.objects.filter(name__startswith="Candle of").order_by("pk"))
        self.jars = [Product.objects.get(code=code) for code in FILLED]
        self.unpaid: list[Invoice] = []
        self.buyers: list[Customer] = []

    def tell(self) -> None:
        acts: dict[int, list[Callable[[], None]]] = {
            0: [self._bring_in, self._take_on_customers],
            1: [self._pour_and_fill],
            2: [self._bottle, self._carry],
            3: [self._sell_drums],
            8: [self._count, self._drums_come_back],
            DAYS - 1: [self._pay_all, self._clear],
        }
        for number in range(DAYS):
            noon = datetime.combine(
                self.first + timedelta(days=number), datetime.min.time(), UTC
            ) + timedelta(hours=16)
            with time_machine.travel(noon, tick=False) as self.clock:
                for act in acts.get(number, []):
                    self._wait()
                    act()
                if 2 < number < DAYS - 1:
                    self._trade(number)

    def _wait(self) -> None:
        self.clock.shift(timedelta(minutes=4))

    def _key(self) -> str:
        return f"weeks-{next(self.keys)}"

    def _bring_in(self) -> None:
        today = timezone.localdate()
        facts = {"season": today.year, "recorded_by": self.bottler}
        for tank, source in zip(self.tanks, ("Clover", "Basswood"), strict=False):
            honey.receive(
                place=tank,
                grams=700 * KILOGRAM,
                floral_source=source,
                extracted_on=today,
                moisture_percent=Decimal("17.2"),
                colour_mm=Decimal(28),
                cost_cents=210_000,
                key=self._key(),
                **facts,
            )
        purchases.receive(
            supplier="Olmo Honey",
            vessels=[VesselReceived(self.tanks[2], net_grams=300 * KILOGRAM)],
            cost_cents=120_000,
            country="ES",
            floral_source="Rosemary",
            received_on=today,
            moisture_percent=Decimal("17.0"),
            key=self._key(),
            **facts,
        )
        for part in PackagingPart.objects.order_by("pk"):
            parts.receive(
                part=part,
                place=self.storeroom,
                pieces=1_500,
                cost_cents=30_000,
                supplier="Glass and Lids",
                received_on=today,
                recorded_by=self.bottler,
                key=self._key(),
            )
        for product in self.goods:
            goods.receive(
                product=product,
                place=self.storeroom,
                quantity=PIECES_OF_GOODS,
                cost_cents=9_000,
                supplier="Valley Wax Works",
                received_on=today,
                recorded_by=self.bottler,
                key=self._key(),
            )

    def _take_on_customers(self) -> None:
        self.buyers = list(Customer.objects.filter(kind="shop").order_by("pk")[:3])
        for number in range(NEW_CUSTOMERS):
            self.buyers.append(
                customers.add(
                    name=f"Village Shop {number}",
                    kind=Customer.Kind.SHOP,
                    tier=Customer.Tier.SHOP,
                    terms_days=14,
                )
            )

    def _pour_and_fill(self) -> None:
        first, second, third, fourth = self.tanks
        honey.transfer(
            source=second,
            target=first,
            grams=300 * KILOGRAM,
            recorded_by=self.bottler,
            key=self._key(),
        )
        honey.blend(
            sources=[(second, 200 * KILOGRAM), (third, 200 * KILOGRAM)],
            target=fourth,
            recorded_by=self.bottler,
            key=self._key(),
        )
        for drum in self.drums:
            drums.fill(
                tank=fourth,
                drum=drum,
                gross_grams=17_500 + 90 * KILOGRAM,
                recorded_by=self.bottler,
                key=self._key(),
            )
        dips.record(
            place=first,
            depth_mm=700,
            celsius=Decimal(30),
            recorded_by=self.bottler,
            key=self._key(),
        )
        wrong = honey.transfer(
            source=third,
            target=fourth,
            grams=10 * KILOGRAM,
            recorded_by=self.bottler,
            key=self._key(),
        )
        self._undo(wrong)

    def _undo(self, posting: Posting) -> None:
        reversals.reverse(
            posting=posting, recorded_by=self.bottler, key=self._key(), note="Entered wrongly"
        )

    def _bottle(self) -> None:
        today = timezone.localdate()
        for product, pieces in zip(self.jars, FILLED.values(), strict=True):
            run = runs.plan(
                product=product,
                source=self.tanks[0],
                target=self.storeroom,
                pieces=pieces,
                planned_for=today,
                planned_by=self.bottler,
                key=self._key(),
            )
            drawn = round(product.declared_grams * (pieces + 1)) + 600
            runs.record(
                run=run,
                pieces_filled=pieces,
                pieces_broken=1,
                drawn_grams=drawn,
                drawn_by=BottlingRun.DrawnBy.SCALE,
                loss_grams=600,
                labour_minutes=90,
                celsius=None,
                recorded_by=self.bottler,
                key=self._key(),
            )
            self._wait()

    def _carry(self) -> None:
        for product in (*self.jars, *self.goods):
            there = Balance.objects.get(item=product.item, place=self.storeroom, quantity__gt=0)
            stores.transfer(
                item=product.item,
                lot=there.lot,
                source=self.storeroom,
                target=self.stand,
                pieces=there.quantity // 2,
                recorded_by=self.bottler,
                key=self._key(),
            )

    def _sell_drums(self) -> None:
        customer = Customer.objects.get(name="Copperkettle Packing")
        lines = []
        for drum in self.drums:
            there = Balance.objects.get(place=drum, quantity__gt=0)
            lines += [
                LineWanted(
                    kind=OrderLine.Kind.HONEY,
                    quantity=there.quantity,
                    unit_price=Decimal("2.40"),
                    drum=drum,
                    lot=there.lot,
                ),
                LineWanted(
                    kind=OrderLine.Kind.DRUM_DEPOSIT, quantity=1, unit_price=Decimal(25), drum=drum
                ),
            ]
        self._order_to_invoice(customer, lines)

    def _order_to_invoice(self, customer: Customer, lines: list[LineWanted]) -> Invoice:
        order = orders.take(
            customer=customer,
            channel=Order.Channel.SHOP,
            lines=lines,
            created_by=self.office,
            key=self._key(),
            over_limit=True,
        )
        orders.fulfil(order=order, filled_by=self.office, key=self._key())
        invoice = invoices.issue(order=order, issued_by=self.office, key=self._key())
        self.unpaid.append(invoice)
        return invoice

    def _drums_come_back(self) -> None:
        outings = FulfilmentLine.objects.filter(
            order_line__drum__in=self.drums, order_line__kind=OrderLine.Kind.HONEY
        )
        # Paid four days before, with what else was open then.
        invoice = Invoice.objects.get(customer__name="Copperkettle Packing")
        drum_register.take_back(
            outings=list(outings), received_by=self.office, key=self._key(), tares={}
        )
        drum_deposits.refund(
            customer=invoice.customer,
            drums={invoice: DRUMS},
            refunded_by=self.office,
            key=self._key(),
            pays_back=True,
        )

    def _trade(self, number: int) -> None:
        for each in range(SALES_A_DAY):
            self._wait()
            sale = self._sell(number * SALES_A_DAY + each)
            if each == 5 and number % 3 == 0:
                stand.take_back(
                    receipt=sale.receipt,
                    taken_by=self.office,
                    key=self._key(),
                    reason="Rang up twice",
                )
        for each in range(ORDERS_A_DAY):
            self._wait()
            turn = number * ORDERS_A_DAY + each
            lines = [
                _packed(self.jars[(turn + step) % len(self.jars)], 3, "6.20") for step in range(2)
            ]
            lines.append(_packed(self.goods[turn % GOODS], 2, "4.00"))
            invoice = self._order_to_invoice(self.buyers[turn % len(self.buyers)], lines)
            if turn % 5 == 0:
                self._credit(invoice)
        if number % 3 == 1:
            self._pay_all()
        if number % 4 == 0:
            self._spend()

    def _sell(self, turn: int):
        jar, thing = self.jars[turn % len(self.jars)], self.goods[turn % GOODS]
        cash = PaymentMade(Payment.Method.CASH, tendered_cents=2_000)
        return stand.sell(
            lines=[_packed(jar, 1, "9.50"), _packed(thing, 1, "6.00")],
            place=self.stand,
            payments=[PaymentMade(Payment.Method.CARD) if turn % 2 else cash],
            sold_by=self.seller,
            key=self._key(),
        )

    def _credit(self, invoice: Invoice) -> None:
        line = invoice.lines.order_by("pk")[0]
        credit_notes.credit(
            invoice=invoice,
            issued_by=self.office,
            key=self._key(),
            reason="One came back",
            lines=[LineCredit(line=line, quantity=Decimal(1))],
            goods_back=[GoodsBack(goods=line.fulfilment_line, quantity=1, place=self.storeroom)],
        )

    def _spend(self) -> None:
        expenses.enter(
            payee="Village Fuel",
            category="other",
            paid_by="card",
            amount_cents=4_200,
            entered_by=self.office,
            key=self._key(),
        )

    def _pay_all(self) -> None:
        for invoice in [*self.unpaid]:
            self._pay(invoice)

    def _pay(self, invoice: Invoice) -> None:
        self.unpaid.remove(invoice)
        invoice.refresh_from_db()
        if invoice.open_cents <= 0:
            return
        payments.receive(
            customer=invoice.customer,
            amount_cents=invoice.open_cents,
            method=Payment.Method.TRANSFER,
            received_by=self.office,
            key=self._key(),
            allocations={invoice: invoice.open_cents},
        )

    def _count(self) -> None:
        for product in self.jars:
            there = Balance.objects.get(item=product.item, place=self.stand, quantity__gt=0)
            stores.count(
                item=product.item,
                lot=there.lot,
                place=self.stand,
                counted=there.quantity - 1,
                reason="Counted at closing time",
                recorded_by=self.bottler,
                key=self._key(),
            )

    def _clear(self) -> None:
        """Leave nothing: what is left of jars and goods is given away, of honey fed or used."""
        for there in Balance.objects.in_stores().select_related("item", "lot", "place"):
            is_part = there.lot is None
            stores.write_off(
                item=there.item,
                lot=there.lot,
                place=there.place,
                pieces=there.quantity,
                reason=Posting.Kind.BREAKAGE if is_part else Posting.Kind.GIFT,
                recorded_by=self.bottler,
                key=self._key(),
            )
        for tank in self.tanks:
            honey.write_off(
                place=tank,
                grams=None,
                reason=Posting.Kind.OWN_USE,
                recorded_by=self.bottler,
                key=self._key(),
            )


def _packed(product: Product, pieces: int, price: str) -> LineWanted:
    kind = OrderLine.Kind.PACKED
    return LineWanted(kind=kind, quantity=pieces, unit_price=Decimal(price), product=product)

"""A house that buys: a supplier, a part and goods of theirs, and short ways to act."""

from datetime import date
from decimal import Decimal

from apiary_sales.billing.models import EntryLine
from apiary_sales.billing.queries import books, purchase_books
from apiary_sales.billing.services import bills, expenses, purchase_orders
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.billing.services.purchase_orders import LineOrdered
from inventory.bottling.models import PackagingPart
from inventory.stock.models import Place, Supplier
from tests import builders

TODAY = date(2026, 9, 10)


class Room:
    """The supplier, what they sell, and where it goes."""

    def __init__(self):
        self.person = builders.person("office")
        self.supplier = builders.supplier("Meadow Glass", Supplier.Kind.PARTS)
        self.jar = builders.part("One-pound jar", PackagingPart.Kind.JAR)
        self.candle = builders.goods("Candle")
        self.wax = builders.goods("Wax", is_weighed=True)
        self.shelf = builders.place("shelf", Place.Kind.SHELF, name="Packing shelf")

    def order(self, *lines, **more):
        """Order 1,000 jars at 0.42, unless told otherwise."""
        return purchase_orders.place(
            supplier=self.supplier,
            lines=lines or [LineOrdered(self.jar, 1000, Decimal("0.42"))],
            ordered_by=self.person,
            key=more.pop("key", None) or builders.new_key(),
            **more,
        )

    def receive(self, line, quantity, **more):
        return purchase_orders.receive(
            line=line,
            place=self.shelf,
            quantity=quantity,
            received_on=more.pop("received_on", TODAY),
            recorded_by=self.person,
            key=more.pop("key", None) or builders.new_key(),
            **more,
        )

    def delivery(self, pieces=1000, **more):
        """Return the receipt of jars that were ordered and came in."""
        return self.receive(self.order().lines.get(), pieces, **more).part_receipt

    def bill(self, *lines, number="M-1", **more):
        """Enter a bill of 100.00 for supplies, unless told otherwise."""
        return bills.enter(
            supplier=more.pop("supplier", self.supplier),
            number=number,
            billed_on=more.pop("billed_on", TODAY),
            lines=lines or [LineBilled(10_000, category="supplies")],
            entered_by=self.person,
            key=more.pop("key", None) or builders.new_key(),
            **more,
        )

    def pay(self, bill, cents, *, discount=0, **more):
        return bills.pay(
            supplier=more.pop("supplier", bill.supplier),
            shares=[BillPaid(bill, cents, discount)],
            paid_by=more.pop("paid_by", "transfer"),
            recorded_by=self.person,
            key=more.pop("key", None) or builders.new_key(),
            **more,
        )

    def spend(self, cents=5_000, **more):
        return expenses.enter(
            payee=more.pop("payee", "Ridge Fuel"),
            category=more.pop("category", "fuel"),
            amount_cents=cents,
            paid_by=more.pop("paid_by", "cash"),
            entered_by=self.person,
            key=more.pop("key", None) or builders.new_key(),
            **more,
        )

    def monthly(self, **more):
        """Keep a rent of 300.00 on the last of August and of each month after."""
        return expenses.add_recurring(
            key=more.pop("key", None) or builders.new_key(),
            **{
                "payee": "Ridge Hall",
                "category": "rent",
                "amount_cents": 30_000,
                "paid_by": "transfer",
                "rhythm": "month",
                "next_on": date(2026, 6, 30),
                **more,
            },
        )


def lines_of(entry):
    """Return the lines of an entry as account, detail and cents."""
    rows = EntryLine.objects.filter(entry=entry).order_by("account", "detail")
    return [(row.account, row.detail, row.amount_cents) for row in rows]


def book_faults():
    return [*books.faults(), *purchase_books.faults()]

"""What the house pays apart from honey and parts, month by month, and when its books are closed."""

from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial

from apiary_sales.billing.models import EntryLine, SupplierBill
from apiary_sales.billing.services import bills, closing, expenses, opening
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.web.demo.fixtures import STORY_DAYS, cents, key
from apiary_sales.web.demo.seasons.things import Things
from apiary_sales.web.demo.seasons.timeline import DatedAct, Turn
from inventory.stock.models import Supplier

EVERY_MONTH = range(1, 13)
SUMMER = (7, 8, 9)


def acts(rows: dict, things: Things) -> Iterator[DatedAct]:
    began = next(things.years.months())
    at_the_bank = cents(rows["opening"]["amount"])
    begin = partial(_begin, at_the_bank, began, things)
    yield DatedAct(began, Turn.SPENT, "opening", "", begin)
    for month in things.years.months():
        for number, row in enumerate(rows["expenses"]):
            if month.month in row.get("months", EVERY_MONTH):
                day, name = _day(row, month), f"{month:%Y-%m}-expense-{number}"
                yield DatedAct(
                    day, Turn.SPENT, name, "expenses", partial(_spend, row, day, name, things)
                )
        for number, row in enumerate(rows["bills"]):
            if month.month in row.get("months", EVERY_MONTH):
                day, name = _day(row, month), f"{month:%Y-%m}-bill-{number}"
                paid_on = day + timedelta(days=row["paid_after_days"])
                yield DatedAct(
                    day, Turn.SPENT, name, "bills", partial(_enter_bill, row, day, name, things)
                )
                yield DatedAct(paid_on, Turn.PAID, name, "", partial(pay, paid_on, name, things))
    yield from _closings(rows["closing"], things)


def _begin(amount_cents: int, day: date, things: Things) -> None:
    opening.amount(
        account=EntryLine.Account.TRANSFER,
        amount_cents=amount_cents,
        begins_on=day,
        recorded_by=things.owner,
        key=key("opening"),
    )


def _day(row: dict, month: date) -> date:
    return month + timedelta(days=row["day"] - 1)


def _spend(row: dict, day: date, name: str, things: Things) -> None:
    amount = cents(things.years.figure(row["amounts"], day))
    if day.month in SUMMER:
        amount = amount * row.get("summer_percent", 100) // 100
    expenses.enter(
        payee=row["payee"],
        category=row["category"],
        amount_cents=amount,
        paid_by=row["paid_by"],
        entered_by=things.seller,
        key=key(name),
        spent_on=day,
    )


def _enter_bill(row: dict, day: date, name: str, things: Things) -> None:
    amount = cents(things.years.figure(row["amounts"], day))
    bills.enter(
        supplier=Supplier.objects.get(name=row["supplier"]),
        number=f"{row['number']}-{day:%y%m}",
        billed_on=day,
        lines=[LineBilled(amount, category=row["category"], description=f"{day:%B}")],
        entered_by=things.seller,
        key=key(name),
    )


def pay(day: date, name: str, things: Things) -> None:
    """Pay a bill of this name."""
    bill = SupplierBill.objects.select_related("supplier").get(idempotency_key=key(name))
    bills.pay(
        supplier=bill.supplier,
        shares=[BillPaid(bill, bill.open_cents)],
        paid_by="transfer",
        recorded_by=things.seller,
        key=key(f"{name}-paid"),
        paid_on=day,
    )


def _closings(row: dict, things: Things) -> Iterator[DatedAct]:
    month, day = map(int, row["on"].split("-"))
    for year in range(things.years.first, things.years.last + 1):
        until = date(year, 12, 31)
        # What the story enters late counts on its own day.
        if until < things.today - timedelta(days=STORY_DAYS):
            yield DatedAct(
                date(year + 1, month, day),
                Turn.CLOSED,
                f"{year}-closed",
                "",
                partial(
                    closing.close, until=until, locked_by=things.owner, key=key(f"{year}-closed")
                ),
            )

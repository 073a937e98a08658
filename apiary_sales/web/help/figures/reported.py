"""Examples of reports on money: what moved in a month, and what remains after selling."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Self

from django.urls import reverse
from django.utils import timezone

from apiary_sales.reports.frames import cash, selling_cost
from apiary_sales.reports.frames.make import plain
from apiary_sales.reports.frames.sales import SalesFilters
from apiary_sales.web.help.figures.costs import LATELY
from apiary_sales.web.help.figures.example import Example, in_decimals


@dataclass(frozen=True, kw_only=True)
class MonthOfMoneyExample(Example):
    """What was received and paid out in one month, and what there was at its ends."""

    month: date
    given_cents: int
    given_back_cents: int
    spent_cents: int
    bills_cents: int
    tax_cents: int
    otherwise_cents: int
    other_cents: int
    there_before_cents: int

    @property
    def received_cents(self) -> int:
        return self.given_cents - self.given_back_cents

    @property
    def paid_cents(self) -> int:
        return self.spent_cents + self.bills_cents + self.tax_cents + self.otherwise_cents

    @property
    def there_cents(self) -> int:
        moved = self.received_cents - self.paid_cents + self.other_cents
        return self.there_before_cents + moved

    @classmethod
    def from_the_house(cls) -> Self | None:
        book = cash.money_book(timezone.localdate())
        if not book.months:
            return None
        last = max(book.months)
        parts = book.months[last].parts
        return cls(
            month=last,
            given_cents=parts["given_cents"],
            given_back_cents=-parts["given_back_cents"],
            spent_cents=parts["spent_cents"],
            bills_cents=parts["bills_paid_cents"],
            tax_cents=parts["tax_paid_cents"],
            otherwise_cents=parts["paid_otherwise_cents"],
            other_cents=book.months[last].other_cents,
            there_before_cents=sum(
                moved.change_cents for month, moved in book.months.items() if month < last
            ),
            url=reverse("reports:report", args=["money-by-month"]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(
            month=(timezone.localdate().replace(day=1) - timedelta(days=1)).replace(day=1),
            given_cents=412_000,
            given_back_cents=14_000,
            spent_cents=65_000,
            bills_cents=120_000,
            tax_cents=9_000,
            otherwise_cents=1_200,
            other_cents=-2_500,
            there_before_cents=380_000,
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class RemainsExample(Example):
    """What remains of the sales to one customer after the goods and the selling."""

    customer: str
    known_cents: int
    cost_cents: int
    card_cents: int
    handling_cents: int
    recorded_cents: int

    @property
    def remains_cents(self) -> int:
        selling = self.card_cents + self.handling_cents + self.recorded_cents
        return self.known_cents - self.cost_cents - selling

    @property
    def remains_percent(self) -> Decimal:
        return in_decimals(Fraction(self.remains_cents * 100, self.known_cents))

    @classmethod
    def from_the_house(cls) -> Self | None:
        filters = SalesFilters(since=timezone.localdate() - LATELY)
        for row in selling_cost.by_customer(filters).to_dict("records"):
            if plain(row["remains_cents"]) is not None and row["known_cents"] > 0:
                return cls(
                    customer=row["customer"],
                    known_cents=row["known_cents"],
                    cost_cents=row["cost_cents"],
                    card_cents=row["card_cents"],
                    handling_cents=row["handling_cents"],
                    recorded_cents=sum(row[name] for name in selling_cost.RECORDED),
                    url=reverse("reports:report", args=["margin-after-selling-by-customer"]),
                )
        return None

    @classmethod
    def invented(cls) -> Self:
        return cls(
            customer="Corner Grocery",
            known_cents=150_000,
            cost_cents=72_000,
            card_cents=0,
            handling_cents=5_280,
            recorded_cents=2_000,
            is_invented=True,
        )

"""What was taken at stands in some days, for a page, a table and a paper."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from apiary_sales.billing import drawers
from apiary_sales.billing.models import StandSale
from apiary_sales.billing.takings import Takings, takings
from inventory.shared.money import amount
from inventory.shared.people import Person
from inventory.stock.models import Place


@dataclass(frozen=True)
class TakingsAsked:
    """Which days, which place and whose sales; None is all."""

    since: date
    until: date
    place: Place | None = None
    person: Person | None = None

    @property
    def sales(self) -> QuerySet[StandSale]:
        begin, end = drawers.day_limits(self.since, self.until)
        found = StandSale.objects.filter(sold_at__gte=begin, sold_at__lt=end)
        if self.place is not None:
            found = found.filter(place=self.place)
        if self.person is not None:
            found = found.filter(sold_by=self.person)
        return found


def sellers() -> QuerySet[User]:
    """Return who has sold at a stand."""
    sold = StandSale.objects.order_by().values("sold_by")
    return User.objects.filter(pk__in=sold).order_by("first_name", "username")


def takings_of(asked: TakingsAsked) -> Takings:
    return takings(asked.sales)


def csv_rows(asked: TakingsAsked) -> Iterator[list[Any]]:
    """Yield the takings as rows: which table, what, how much of it, and what it came to."""
    found = takings_of(asked)
    yield [_("From"), asked.since, _("Up to"), asked.until]
    yield [_("Table"), _("Name"), _("Number"), _("Amount")]
    for table, rows in (
        (_("Paid by"), found.by_method),
        (_("Place"), found.by_place),
        (_("Person"), found.by_person),
        (_("Hour"), found.by_hour),
    ):
        for row in rows:
            yield [table, row.name, row.count, amount(row.cents)]
    for product in found.by_product:
        yield [_("Product"), product.name, product.quantity, amount(product.cents)]
    for name, number, cents in (
        (_("Sales"), found.count, found.cents),
        (_("Tax"), None, found.tax_cents),
        (_("Given on top"), None, found.on_top_cents),
        (_("Discounts"), None, found.discount_cents),
        (_("Came back in part"), None, found.returned_cents),
        (_("Not paid"), None, found.unpaid_cents),
        (_("Undone"), found.undone_count, found.undone_cents),
    ):
        yield [_("Total"), name, number, amount(cents)]
    yield [_("Total"), _("Marks"), found.marks, None]

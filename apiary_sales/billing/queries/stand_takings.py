"""What was taken at stands in some days, for a page, a table and a paper."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import Count, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from apiary_sales.billing import counter_money, drawers
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


@dataclass(frozen=True)
class PersonTaken:
    """What one person sold at one place."""

    name: str
    sales: int
    cents: int


@dataclass
class PlaceTaken:
    """What was taken at one place on one day; `methods` has the amounts by way of paying."""

    sales: int = 0
    cents: int = 0
    on_top_cents: int = 0
    methods: dict[str, int] = field(default_factory=dict)
    people: list[PersonTaken] = field(default_factory=list)


def taken_at(places: Collection[Place], on: date) -> dict[int, PlaceTaken]:
    """Return what was taken on a day at each place, by its key, in two queries."""
    made = {place.pk: PlaceTaken() for place in places}
    begin, end = drawers.day_limits(on, on)
    sales = (
        StandSale.objects.standing()
        .filter(place__in=places, sold_at__gte=begin, sold_at__lt=end)
        .order_by()
    )
    by_person = sales.values(
        "place", "sold_by__first_name", "sold_by__last_name", "sold_by__username"
    ).annotate(count=Count("pk"), cents=Sum("receipt__total_cents"), on_top=Sum("on_top_cents"))
    for row in by_person.order_by("-cents", "sold_by"):
        taken = made[row["place"]]
        taken.sales += row["count"]
        taken.cents += row["cents"]
        taken.on_top_cents += row["on_top"]
        full = f"{row['sold_by__first_name']} {row['sold_by__last_name']}".strip()
        name = full or row["sold_by__username"]
        taken.people.append(PersonTaken(name, row["count"], row["cents"]))
    put = counter_money.put_to(sales).values_list("invoice__stand_sale__place", "payment__method")
    for place, method, cents in put.annotate(cents=counter_money.HANDED).order_by(
        "payment__method"
    ):
        if method and cents:
            made[place].methods[method] = cents
    return made


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
        (_("Rounded to the smallest coin"), None, found.rounding_cents),
        (_("Not paid"), None, found.unpaid_cents),
        (_("Undone"), found.undone_count, found.undone_cents),
    ):
        yield [_("Total"), name, number, amount(cents)]
    yield [_("Total"), _("Marks"), found.marks, None]

"""What the seasons of the demo reach for again and again, each looked up once."""

from datetime import date, datetime, time
from decimal import Decimal
from functools import cached_property
from typing import Any, cast

from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.queries import prices
from apiary_sales.web.demo.seasons.timeline import SeasonYears
from inventory.bottling.models import Product
from inventory.stock.models import Balance, Place


class Things:
    """People, places, products and prices of the demo."""

    def __init__(self, today: date) -> None:
        self.years = SeasonYears(today)
        self.today = today
        self._lists: dict[tuple[str, int], Any] = {}

    @cached_property
    def people(self) -> dict[str, User]:
        return {user.role: user for user in User.objects.order_by("id")}

    @property
    def bottler(self) -> User:
        return self.people[User.Role.BOTTLING]

    @property
    def seller(self) -> User:
        return self.people[User.Role.OFFICE]

    @property
    def minder(self) -> User:
        return self.people[User.Role.STAND]

    @property
    def owner(self) -> User:
        return self.people[User.Role.OWNER]

    @cached_property
    def products(self) -> dict[str, Product]:
        return {product.code: product for product in Product.objects.select_related("item", "size")}

    @cached_property
    def customers(self) -> dict[str, Customer]:
        return {customer.name: customer for customer in Customer.objects.all()}

    @cached_property
    def _places(self) -> dict[str, Place]:
        return {place.code: place for place in Place.objects.all()}

    def place(self, code: str) -> Place:
        return self._places[code]

    def lines(self, pieces: dict[str, int], tier: str, day: date) -> list[LineWanted]:
        """Return order lines of so many pieces at the prices of a day."""
        # Prices change at New Year alone.
        known = self._lists.get((tier, day.year))
        if known is None:
            known = self._lists[tier, day.year] = prices.price_list(tier, day)
        return [
            LineWanted(
                kind=OrderLine.Kind.PACKED,
                product=self.products[code],
                quantity=count,
                unit_price=cast(Decimal, known.of(self.products[code]).unit_price(count)),
            )
            for code, count in pieces.items()
        ]

    def on_hand(self, code: str, place: str) -> int:
        found = Balance.objects.filter(
            item=self.products[code].item, place=self.place(place), quantity__gt=0
        )
        return sum(balance.free for balance in found)


def at(day: date, hour: int) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(hour)))

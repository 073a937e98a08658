"""Examples about money: what honey and jars cost, what a pound brings, and what is earned."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Self

from django.db.models import Sum
from django.urls import reverse
from django.utils import timezone

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.queries import comparison, costs, prices, seasons
from apiary_sales.pricing.rules.costs import Book, CostLine, HoneyCost, WhatIf
from apiary_sales.pricing.rules.prices import PriceList, PricesOfProduct
from apiary_sales.pricing.rules.seasons import per_pound
from apiary_sales.web.help.figures.example import Example, in_decimals
from inventory.bottling.models import PackagingPart, Product, Size, SizePart
from inventory.physics.units import POUND_GRAMS
from inventory.shared.weights import in_units

LATELY = timedelta(days=365)


@dataclass(frozen=True, kw_only=True)
class HoneyCostExample(Example):
    """The expenses of a season over the honey that was extracted in it."""

    season: int
    expenses: Sequence[tuple[str, int]]
    grams: int

    @property
    def total_cents(self) -> int:
        return sum(cents for _name, cents in self.expenses)

    @property
    def units(self) -> Decimal:
        return in_units(self.grams)

    @property
    def per_unit(self) -> Decimal | None:
        return per_pound(self.total_cents, self.grams)

    @classmethod
    def from_the_house(cls) -> Self | None:
        for year in seasons.years():
            season = seasons.season(year)
            if season.expenses and season.grams:
                return cls(
                    season=year,
                    expenses=seasons.by_category(year),
                    grams=season.grams,
                    url=reverse("pricing:season", args=[year]),
                )
        return None

    @classmethod
    def invented(cls) -> Self:
        expenses = [("Sugar, treatments", 84_000), ("Fuel", 46_000), ("Queens", 30_000)]
        return cls(season=2026, expenses=expenses, grams=907_185, is_invented=True)


@dataclass(frozen=True, kw_only=True)
class JarCostExample(Example):
    """What one filled piece costs, line by line."""

    product: str
    lines: Sequence[CostLine]
    drawn_grams: Decimal

    @property
    def total(self) -> Decimal:
        return sum((line.each or Decimal(0) for line in self.lines), Decimal(0))

    @classmethod
    def from_the_house(cls) -> Self | None:
        book = costs.book(timezone.localdate())
        honey = costs.honey_cost()
        found = [book.filled_cost(product, honey) for product in book.products]
        known = [each for each in found if each.total is not None]
        if not known:
            return None
        # The one filled most often has the best averages.
        shown = max(known, key=lambda each: each.fill.runs)
        return cls(
            product=str(shown.product),
            lines=shown.lines,
            drawn_grams=shown.fill.drawn_grams,
            url=reverse("pricing:drum_or_jar"),
        )

    @classmethod
    def invented(cls) -> Self:
        shown = invented_book().filled_cost(ONE_POUND, INVENTED_HONEY)
        return cls(
            product=ONE_POUND.name,
            lines=shown.lines,
            drawn_grams=shown.fill.drawn_grams,
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class NetBackExample(Example):
    """What the honey brings, by the house's unit of weight, in the best jar and in the drum."""

    product: str
    channel: str
    lines: Sequence[CostLine]
    left: Decimal
    drawn_grams: Decimal
    per_unit: Decimal
    drum_lines: Sequence[CostLine]
    drum_per_unit: Decimal
    break_even: Decimal | None

    @property
    def drawn_units(self) -> Decimal:
        return in_units(self.drawn_grams)

    @property
    def difference(self) -> Decimal:
        return self.per_unit - self.drum_per_unit

    @classmethod
    def from_the_house(cls) -> Self | None:
        today = timezone.localdate()
        in_hand = costs.honey_in_hand()
        if not in_hand:
            return None
        lot, _grams = in_hand[0]
        listed = prices.bulk_list(today).row_for(
            colour_class=lot.colour_class,
            moisture_percent=lot.honey_moisture,
            floral_source=lot.floral_source,
        )
        if listed is None or listed.price_per_pound is None:
            return None
        return cls._of(
            comparison.compare(
                book=costs.book(today),
                honey=costs.honey_cost(lot),
                drum_price=listed.price_per_pound,
            ),
            url=reverse("pricing:drum_or_jar"),
        )

    @classmethod
    def invented(cls) -> Self:
        found = cls._of(
            comparison.compare(
                book=invented_book(), honey=INVENTED_HONEY, drum_price=Decimal("2.10")
            ),
            is_invented=True,
        )
        assert found is not None  # The invented book has all its figures.
        return found

    @classmethod
    def _of(
        cls, compared: comparison.Comparison, *, url: str = "", is_invented: bool = False
    ) -> Self | None:
        best, drum = compared.best, compared.drum
        if best is None or best.left is None or best.per_pound is None or drum is None:
            return None
        return cls(
            product=str(best.product),
            channel=best.channel_label,
            lines=best.lines,
            left=best.left,
            drawn_grams=best.fill.drawn_grams,
            per_unit=best.per_pound,
            drum_lines=drum.lines,
            drum_per_unit=drum.per_pound,
            break_even=best.break_even_price(drum.per_pound),
            url=url,
            is_invented=is_invented,
        )


@dataclass(frozen=True, kw_only=True)
class MarginExample(Example):
    """What was sold of one product lately, what that had cost, and what is between."""

    product: str
    pieces: int
    sold_cents: int
    cost_cents: int

    @property
    def margin_cents(self) -> int:
        return self.sold_cents - self.cost_cents

    @property
    def margin_percent(self) -> Decimal:
        return in_decimals(Fraction(self.margin_cents * 100, self.sold_cents))

    @classmethod
    def from_the_house(cls) -> Self | None:
        since = timezone.localdate() - LATELY
        sold = (
            FulfilmentLine.objects.not_taken_back()
            .filter(
                fulfilment__filled_on__gt=since,
                order_line__kind=OrderLine.Kind.PACKED,
                returned=0,
                cost_cents__isnull=False,
                amount_cents__gt=0,
            )
            .order_by()
            .values("order_line__product__name")
            .annotate(
                pieces=Sum("quantity"), sold_cents=Sum("amount_cents"), cost=Sum("cost_cents")
            )
            .order_by("-sold_cents", "order_line__product__name")
            .first()
        )
        if sold is None:
            return None
        return cls(
            product=sold["order_line__product__name"],
            pieces=sold["pieces"],
            sold_cents=sold["sold_cents"],
            cost_cents=sold["cost"],
            url=reverse("reports:report", args=["margin-by-product"]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(
            product=ONE_POUND.name,
            pieces=120,
            sold_cents=108_000,
            cost_cents=33_600,
            is_invented=True,
        )


INVENTED_HONEY = HoneyCost(Fraction(160) / Fraction(POUND_GRAMS))
ONE_POUND = Product(
    name="1 lb",
    size=Size(name="1 lb", declared_amount=Decimal(1), declared_unit=Size.Unit.POUND),
)


def invented_book() -> Book:
    """Return a book of one product, with costs and a price at the stand."""
    jar = PackagingPart(pk=1, name="1 lb", kind=PackagingPart.Kind.JAR)
    return Book(
        on=timezone.localdate(),
        products=(ONE_POUND,),
        parts={ONE_POUND.pk: (SizePart(part=jar, quantity=1, per_pieces=1),)},
        part_costs={jar.pk: Fraction(85)},
        runs={
            ONE_POUND.pk: {
                "count": 1,
                "filled": 100,
                "broken": 0,
                "drawn": 46_100,
                "loss": 200,
                "minutes": 75,
                "timed": 100,
            }
        },
        minutes={},
        labour_cents_per_hour=2_000,
        channels={
            channel: ChannelCost(channel=channel, piece_cents=25, per_pound=Decimal("0.02"))
            for channel in ChannelCost.Channel.values
        },
        price_lists={
            tier: PriceList(tier, timezone.localdate(), (PricesOfProduct(ONE_POUND, ()),))
            for tier in Customer.Tier.values
        },
        what_if=WhatIf(piece_cents={(ONE_POUND.pk, ChannelCost.Channel.STAND): 900}),
    )

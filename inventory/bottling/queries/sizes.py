"""Sizes for display: their label, their parts and whether the honey fits."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db.models import QuerySet

from inventory.bottling.models import Product, Size, SizePart
from inventory.bottling.part_prices import prices_for_plans
from inventory.bottling.rules import filling
from inventory.bottling.rules.figures import decimal_of
from inventory.physics import labelling
from inventory.shared import words
from inventory.stock.models import Balance, Item, Lot, ProductionSettings


@dataclass(frozen=True)
class SizeDetails:
    """One size with its standard product, what its label must say and what its parts cost."""

    size: Size
    product: Product
    uses: list[SizePart]
    statement: str
    metric: str
    figure_height_mm: int | None
    parts_cents_each: Fraction | None

    @property
    def parts_price(self) -> Decimal | None:
        """What the parts of one piece cost, in units of currency, to four places."""
        if self.parts_cents_each is None:
            return None
        return decimal_of(Fraction(self.parts_cents_each) / 100, "0.0001")

    @property
    def declared(self) -> str:
        return filling.declared(self.size)

    @property
    def brimful(self) -> str:
        return words.small_volume(self.size.brimful_ml)


def all_sizes() -> list[SizeDetails]:
    """Return every size, those in use first; in a constant number of queries."""
    sizes = Size.objects.prefetch_related("size_parts__part", "products").order_by(
        "-is_active", "brimful_ml", "name"
    )
    costs = prices_for_plans()
    return [_details(size, costs) for size in sizes]


def details_of(size: Size) -> SizeDetails:
    """Return one size as the list shows it."""
    return _details(size, prices_for_plans())


def fits_now(size: Size) -> list[tuple[str, filling.Fit]]:
    """Tell for each lot of honey there, with its vessels, whether the weight fits when filled."""
    celsius = ProductionSettings.current().honey_house_celsius
    vessels: dict[Lot, list[str]] = {}
    for balance in _vessels_with_honey():
        vessels.setdefault(balance.honey_lot, []).append(balance.place.name)
    return [
        (
            ", ".join(names),
            filling.fit(size, moisture_percent=lot.honey_moisture, celsius=celsius),
        )
        for lot, names in vessels.items()
    ]


def _vessels_with_honey() -> QuerySet[Balance]:
    """Return the balances of the vessels that hold honey, tanks first."""
    return (
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0, place__is_active=True
        )
        .select_related("place", "lot")
        .order_by("-place__kind", "place__name")
    )


def _details(size: Size, costs: dict[int, Fraction]) -> SizeDetails:
    grams = size.declared_grams
    uses = list(size.size_parts.all())
    known = [
        costs[use.part_id] * Fraction(use.quantity, use.per_pieces)
        for use in uses
        if use.part_id in costs
    ]
    low, high = labelling.EUROPEAN_LABELLED_G.low, labelling.EUROPEAN_LABELLED_G.high
    return SizeDetails(
        size=size,
        product=size.standard_product,
        uses=uses,
        statement=labelling.net_contents_statement(grams),
        metric=labelling.net_contents_statement(grams, metric_only=True),
        figure_height_mm=(
            labelling.minimum_figure_height_mm(float(grams)) if low <= grams <= high else None
        ),
        parts_cents_each=sum(known, Fraction(0)) if len(known) == len(uses) else None,
    )

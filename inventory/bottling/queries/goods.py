"""Other goods as the pages show them: stock, what a piece or a pound costs, and where they came
from."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from inventory.bottling.models import GoodsMade, GoodsReceipt, Product
from inventory.bottling.queries import packed_stock
from inventory.bottling.queries.packed_stock import ProductStock
from inventory.shared.weights import unit_grams
from inventory.stock.models import Item, Posting, PostingLine


@dataclass(frozen=True)
class GoodsStock:
    """Goods with their stock: pieces, or grams of goods by weight."""

    stock: ProductStock

    @property
    def product(self) -> Product:
        return self.stock.product

    @property
    def item(self) -> Item:
        return self.product.item

    @property
    def is_low(self) -> bool:
        return self.product.is_in_use and self.stock.is_low

    @property
    def unit_price(self) -> Decimal | None:
        """What a piece, or a pound, that is there cost on average; None while it is unknown."""
        value_cents = self.stock.value_cents
        if value_cents is None or not self.stock.on_hand:
            return None
        each = Fraction(value_cents, self.stock.on_hand)
        if self.item.is_weighed:
            each *= Fraction(unit_grams())
        return Decimal(each.numerator) / each.denominator / 100


@dataclass(frozen=True)
class MaterialUsed:
    """How much of goods or a part went into goods that the house made."""

    item: Item
    quantity: int


def all_goods() -> list[GoodsStock]:
    """Return all goods, those out of use last, by name; in a constant number of queries."""
    there = {each.product.pk: each for each in packed_stock.products()}
    found = Product.objects.of_goods().order_by("-is_active", "name")
    return [GoodsStock(there.get(product.pk) or ProductStock(product, ())) for product in found]


def of(product: Product) -> GoodsStock:
    """Return the stock of some goods."""
    return GoodsStock(packed_stock.of(product))


def receipts(product: Product) -> QuerySet[GoodsReceipt]:
    """Return what came in, newest first, each with `is_undone`."""
    return (
        GoodsReceipt.objects.filter(product=product)
        .select_related("lot", "place")
        .annotate(is_undone=Exists(Posting.objects.filter(reverses=OuterRef("posting"))))
    )


def made(product: Product) -> QuerySet[GoodsMade]:
    """Return what the house made of it, newest first, each with `is_undone` and its posting."""
    lines = PostingLine.objects.select_related("item")
    return (
        GoodsMade.objects.filter(product=product)
        .select_related("lot", "place")
        .prefetch_related(Prefetch("posting__lines", lines))
        .annotate(is_undone=Exists(Posting.objects.filter(reverses=OuterRef("posting"))))
    )


def materials_of(row: GoodsMade) -> list[MaterialUsed]:
    """Return what went into goods, out of a row of `made`."""
    used: dict[Item, int] = {}
    for line in row.posting.lines.all():
        if line.quantity < 0 and line.lot_id != row.lot_id:
            used[line.item] = used.get(line.item, 0) - line.quantity
    return [MaterialUsed(item, quantity) for item, quantity in used.items()]

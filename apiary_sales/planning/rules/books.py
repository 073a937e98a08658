"""What the books give to the plan, as it was read on one day."""

from collections import defaultdict
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.rules.demand import History
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.rules.costs import Book
from inventory.bottling.models import PackagingPart, Product, UsedPart
from inventory.stock.models import Lot, Place


@dataclass(frozen=True)
class VesselState:
    """Honey in one vessel that is neither promised nor wanted by a planned run."""

    place: Place
    lot: Lot
    free_grams: int
    bid_per_pound: Decimal | None
    # Products whose declared weight does not go in, or that are sold as other honey.
    misfits: frozenset[int]
    # Why the honey is not used without being told to: it is above the house's limit of moisture.
    moisture_question: str = ""

    @property
    def key(self) -> str:
        return str(self.place.pk)

    @property
    def is_drum(self) -> bool:
        return self.place.kind == Place.Kind.DRUM

    @property
    def alike(self) -> Hashable:
        """What two vessels have in common when a plan may use either of them."""
        return self.is_drum, self.bid_per_pound, self.misfits, bool(self.moisture_question)


class NotUsedBecause(TextChoices):
    """Why no plan may use the honey of a vessel."""

    HELD = "held", _("it is on hold")
    OTHERS = "others", _("it belongs to another beekeeper")
    PROMISED = "promised", _("all of it is reserved or planned for a run")


@dataclass(frozen=True)
class VesselNotUsed:
    """Honey in one vessel that no plan may use, and why."""

    place: Place
    because: NotUsedBecause


@dataclass(frozen=True)
class ProductState:
    """One product: what a piece takes, and its pieces, filled or planned, that are not promised."""

    product: Product
    uses: tuple[UsedPart, ...]
    grams_each: int
    minutes_each: Decimal | None
    ready: int

    @property
    def key(self) -> str:
        return str(self.product.pk)


@dataclass(frozen=True)
class PartState:
    """One part: pieces that no planned run needs, and what one costs on average."""

    part: PackagingPart
    stock: int
    cost: Decimal | None

    @property
    def key(self) -> str:
        return str(self.part.pk)


@dataclass(frozen=True)
class Offer:
    """One product in one channel, at the price of its list; None while there is no price."""

    product: Product
    channel: str
    price_cents: int | None

    @property
    def channel_label(self) -> str:
        return str(ChannelCost.Channel(self.channel).label)

    @property
    def key(self) -> str:
        return f"{self.product.pk}-{self.channel}"


@dataclass(frozen=True)
class Books:
    """Everything a plan can choose from, and what was sold before, as the books have it.

    `offers` are every product in each channel in which it is usually sold or ever was.
    """

    on: date
    vessels: tuple[VesselState, ...]
    not_used: tuple[VesselNotUsed, ...]
    products: tuple[ProductState, ...]
    # Honey that is for sale, but is not filled from a vessel alone.
    left_out: tuple[Product, ...]
    parts: tuple[PartState, ...]
    offers: tuple[Offer, ...]
    history: History
    costs: Book
    planned_runs: int
    # The pieces of the smallest run recorded in the last year; None without any.
    smallest_run: int | None
    # The key of the planned run that was made last; 0 without any.
    newest_run: int

    @property
    def pools(self) -> list[tuple[VesselState, ...]]:
        """The vessels that are alike, together, in the order of their first ones."""
        found: dict[Hashable, list[VesselState]] = defaultdict(list)
        for vessel in self.vessels:
            found[vessel.alike].append(vessel)
        return [tuple(vessels) for vessels in found.values()]

    @property
    def ready(self) -> Mapping[str, int]:
        """Pieces that are filled or planned and not promised, by the key of their product."""
        return {row.key: row.ready for row in self.products}

    @property
    def sold_last(self) -> Mapping[str, int]:
        """Pieces of each offer, by its key, in the newest period of past sales."""
        newest = self.history.newest
        return {
            offer.key: newest.get((offer.product.pk, str(offer.channel)), 0)
            for offer in self.offers
        }

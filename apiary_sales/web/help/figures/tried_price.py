"""An example of a tried price; always invented, since only the owner knows how buyers react."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Self

from apiary_sales.planning.rules import price_try
from apiary_sales.planning.rules.price_try import (
    PieceCosts,
    PriceTrial,
    Reaction,
    TriedLine,
    TriedPrices,
)
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.web.help.figures.example import Example
from inventory.bottling.models import Product

GRAMS = 500


@dataclass(frozen=True, kw_only=True)
class TriedPriceExample(Example):
    """1,000 jars at one price, tried at another, with each figure that leads to the answer."""

    price: Decimal
    tried: Decimal
    cost: Decimal
    drums: Decimal
    trial: PriceTrial

    @property
    def ratio(self) -> Decimal:
        return self.tried / self.price

    @property
    def elasticity(self) -> Decimal:
        return self.trial.likely.elasticity or Decimal(0)

    @property
    def more_cents(self) -> int:
        return self.trial.more_cents(self.trial.likely)

    @property
    def left_now(self) -> Decimal:
        return self.price - self.cost - self.drums

    @property
    def left_tried(self) -> Decimal:
        return self.tried - self.cost - self.drums

    @classmethod
    def from_the_house(cls) -> Self | None:
        return None

    @classmethod
    def invented(cls) -> Self:
        price, tried, cost, drums = Decimal(10), Decimal("12.50"), Decimal(4), Decimal(1)
        line = TriedLine(
            product=Product(name="1 lb"),
            channel=ChannelCost.Channel.STAND,
            channel_label=str(ChannelCost.Channel.STAND.label),
            pieces=1000,
            prices=TriedPrices(Fraction(price), Fraction(tried)),
            costs=PieceCosts(Fraction(1), Fraction(0), Fraction(cost), Fraction(0)),
            missing=(),
            grams_each=Fraction(GRAMS),
            ready=0,
        )
        return cls(
            price=price,
            tried=tried,
            cost=cost,
            drums=drums,
            trial=price_try.try_prices(
                [line],
                Reaction(Decimal("-0.5"), Decimal(-1), Decimal(-2)),
                supply_grams=1000 * GRAMS,
                drum_net_per_gram=Fraction(drums) / GRAMS,
            ),
            is_invented=True,
        )

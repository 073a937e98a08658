"""Example of what a jar earns over the drum: by weight, by hour and by tank-week."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Self

from django.urls import reverse
from django.utils import timezone

from apiary_sales.planning.queries import earnings
from apiary_sales.planning.rules.books import Offer
from apiary_sales.planning.rules.earnings import Earning, Measure, tank_week_grams
from apiary_sales.planning.rules.figures import HOURS
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.web.help.figures.costs import ONE_POUND, invented_book
from apiary_sales.web.help.figures.example import Example
from inventory.shared.weights import in_units

STAND = ChannelCost.Channel.STAND


@dataclass(frozen=True, kw_only=True)
class EarningsExample(Example):
    """What one product earns in one channel over its honey in the drum."""

    earning: Earning

    @property
    def drawn_units(self) -> Decimal:
        return in_units(self.earning.net_back.fill.drawn_grams)

    @property
    def tank_units(self) -> Decimal:
        return in_units(tank_week_grams())

    @property
    def by_measure(self) -> dict[str, Decimal | None]:
        return {measure.value: self.earning.by(measure) for measure in Measure}

    @classmethod
    def from_the_house(cls) -> Self | None:
        found = earnings.read(timezone.localdate(), months=1).answer(hours=HOURS)
        known = [
            row.earning
            for row in found.sorted_by(Measure.HOUR)
            if None not in (row.earning.by(measure) for measure in Measure)
        ]
        return cls(earning=known[0], url=reverse("planning:earnings")) if known else None

    @classmethod
    def invented(cls) -> Self:
        book = invented_book()
        net_back = book.net_back(ONE_POUND, STAND)
        assert net_back is not None  # The invented book has a price at the stand.
        drum = book.drum_net_back(Decimal("2.10"))
        return cls(
            earning=Earning(
                offer=Offer(ONE_POUND, STAND, 900),
                net_back=net_back,
                drum=drum,
                least_drum=drum,
                weeks_in_tank=Decimal(6),
            ),
            is_invented=True,
        )

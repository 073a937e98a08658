"""The example about the season plan: the chance that jars are sold out."""

import math
from dataclasses import dataclass
from typing import Self

from django.urls import reverse
from django.utils import timezone

from apiary_sales.planning.queries import season_books
from apiary_sales.planning.rules.season import question_of
from apiary_sales.planning.season import demand
from apiary_sales.web.help.figures.example import Example

MONTHS = 3


@dataclass(frozen=True, kw_only=True)
class SoldOutExample(Example):
    """Jars of one product on hand, and what is wanted of it in the coming months."""

    product: str
    ready: int
    mean: int
    percent: int

    @property
    def spread(self) -> int:
        return round(math.sqrt(self.mean + (self.percent / 100 * self.mean) ** 2))

    @property
    def chance(self) -> int:
        share = demand.chance_of_more(self.mean, self.percent / 100, self.ready - 1)
        return min(99, max(1, round(share * 100)))

    @classmethod
    def from_the_house(cls) -> Self | None:
        question = question_of(season_books.read(timezone.localdate()))
        variations = {each.key: each.variation for each in question.problem.products}
        found = [
            cls(
                product=str(row.product),
                ready=row.ready,
                mean=round(sum(question.problem.mean_of(row.key)[:MONTHS])),
                percent=round(variations[row.key] * 100),
                url=reverse("planning:season"),
            )
            for row in question.books.pieces
        ]
        return max(
            (each for each in found if each.mean and each.ready),
            key=lambda each: each.mean,
            default=None,
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(product="1 lb", ready=220, mean=200, percent=15, is_invented=True)

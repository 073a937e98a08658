"""Examples about filling jars: the yield of a run, and the limits of a fill check."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Self

from django.urls import reverse

from apiary_sales.web.help.figures.example import Example, in_decimals
from inventory.bottling.models import BottlingRun, FillCheck
from inventory.bottling.queries import fill_checks, runs
from inventory.physics import fill_check
from inventory.physics.fill_check import FillVerdict

CHECKS_LOOKED_AT = 20


@dataclass(frozen=True, kw_only=True)
class YieldExample(Example):
    """Where the honey of one run went."""

    run: str
    pieces: int
    declared_grams: Decimal
    drawn_grams: int
    loss_grams: int
    broken_grams: int

    @property
    def label_grams(self) -> Decimal:
        return self.declared_grams * self.pieces

    @property
    def overfill_grams(self) -> Decimal:
        return self.drawn_grams - self.loss_grams - self.broken_grams - self.label_grams

    @property
    def overfill_each(self) -> Decimal:
        return self.overfill_grams / self.pieces

    @property
    def yield_percent(self) -> Decimal:
        return in_decimals(Fraction(self.label_grams) * 100 / self.drawn_grams)

    @classmethod
    def from_the_house(cls) -> Self | None:
        run = (
            BottlingRun.objects.filter(status=BottlingRun.Status.RECORDED)
            .order_by("-recorded_at")
            .first()
        )
        figures = runs.figures_of(run) if run else None
        if run is None or figures is None:
            return None
        return cls(
            run=run.number,
            pieces=figures.pieces_filled,
            declared_grams=figures.size.declared_grams,
            drawn_grams=figures.shares.drawn_grams,
            loss_grams=figures.shares.loss_grams,
            broken_grams=figures.shares.broken_grams,
            url=reverse("inventory:run_detail", args=[run.number]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(
            run="B26-0001",
            pieces=96,
            declared_grams=Decimal("453.59237"),
            drawn_grams=45_000,
            loss_grams=600,
            broken_grams=454,
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class FillCheckExample(Example):
    """The weights of one sample, and the limits that they are held to."""

    run: str
    weights_g: Sequence[float]
    verdict: FillVerdict

    @property
    def is_european(self) -> bool:
        return self.verdict.scheme == "eu"

    @property
    def short_g(self) -> float:
        return self.verdict.labelled_g - self.verdict.limit_g

    @classmethod
    def from_the_house(cls) -> Self | None:
        checks = FillCheck.objects.whole().select_related("run").order_by("-pk")
        for check in checks[:CHECKS_LOOKED_AT]:
            for view in fill_checks.checks_of(check.run):
                if view.verdict and view.verdict.standard_deviation_g is not None:
                    return cls(
                        run=check.run.number,
                        weights_g=view.sample.weights_g,
                        verdict=view.verdict,
                        url=reverse("inventory:run_detail", args=[check.run.number]),
                    )
        return None

    @classmethod
    def invented(cls) -> Self:
        weights = [
            456.1,
            455.2,
            457.0,
            454.8,
            456.4,
            455.9,
            456.8,
            455.0,
            456.2,
            455.6,
            456.9,
            455.3,
        ]
        return cls(
            run="B26-0001",
            weights_g=weights,
            verdict=fill_check.check_fill(453.59237, weights, 96, "us", label_unit="lb"),
            is_invented=True,
        )

"""What a run made of the honey drawn: yield, loss, overfill and cost."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from inventory.bottling.models import Size
from inventory.bottling.rules import costs
from inventory.bottling.rules.filling import Shares
from inventory.stock.models import Lot


@dataclass(frozen=True)
class RunFigures:
    """What a run made of the honey drawn, recorded or about to be."""

    size: Size
    lot: Lot
    pieces_filled: int
    pieces_broken: int
    shares: Shares
    honey_cents: int | None
    parts_cents: int | None
    labour_cents: int | None
    best_by: date | None

    @property
    def yield_percent(self) -> Decimal:
        """Label weight of the filled pieces over the honey drawn, in percent."""
        label = Fraction(self.size.declared_grams) * self.pieces_filled
        return decimal_of(label * 100 / self.shares.drawn_grams, "0.1")

    @property
    def loss_percent(self) -> Decimal:
        lost = self.shares.loss_grams + self.shares.broken_grams
        return decimal_of(Fraction(lost * 100, self.shares.drawn_grams), "0.1")

    @property
    def overfill_grams(self) -> Decimal:
        """Honey in all filled pieces beyond their labels; negative when they are short."""
        label = self.size.declared_grams * self.pieces_filled
        return Decimal(self.shares.packed_grams) - label

    @property
    def overfill_grams_each(self) -> Decimal:
        return decimal_of(Fraction(self.overfill_grams) / self.pieces_filled, "0.1")

    @property
    def overfill_cents(self) -> int | None:
        """What the overfill of the run cost at the lot's cost; None while it is unknown."""
        return costs.honey_cents(self.lot, self.overfill_grams)

    @property
    def overfill_cents_each(self) -> Decimal | None:
        """Overfill of one piece in units of currency, to four places."""
        if self.lot.unit_cost_cents is None:
            return None
        each = self.lot.unit_cost_cents * Fraction(self.overfill_grams) / self.pieces_filled
        return decimal_of(each / 100, "0.0001")

    @property
    def is_underfilled(self) -> bool:
        return self.overfill_grams < 0

    @property
    def is_theirs(self) -> bool:
        """Whether the honey belongs to another beekeeper, and costs the house nothing."""
        return not self.lot.is_ours

    @property
    def total_cents(self) -> int | None:
        """What the run cost the house: without honey, where that is of another beekeeper."""
        return costs.run_cents(
            honey_cents=0 if self.is_theirs else self.honey_cents,
            parts_cents=self.parts_cents,
            labour_cents=self.labour_cents,
        )

    @property
    def piece_price(self) -> Decimal | None:
        """What one filled piece cost, in units of currency, to four places."""
        if self.total_cents is None:
            return None
        return decimal_of(Fraction(self.total_cents, 100 * self.pieces_filled), "0.0001")


def decimal_of(value: Fraction, step: str) -> Decimal:
    """Return an exact fraction as a decimal, rounded to `step` for display."""
    return (Decimal(value.numerator) / value.denominator).quantize(Decimal(step))

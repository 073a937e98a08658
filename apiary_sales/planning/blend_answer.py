"""What the blend planner answers: the best blend with its figures, or what stands in the way."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from apiary_sales.planning import blend_sentences, blending
from apiary_sales.planning.blend_sentences import SaidWayOut
from apiary_sales.planning.rules.blend import BlendQuestion, BlendVessel, ValueFrom, per_pound
from inventory.shared.weights import in_units
from inventory.stock.models import ProductionSettings
from inventory.stock.queries import blend_plans
from inventory.stock.queries.blend_plans import BlendOutcome, BlendRow

# Nobody waits longer for the page than about this.
SEARCH_SECONDS, WAYS_SECONDS = 3.0, 3.0


@dataclass(frozen=True)
class BlendLine:
    """So many grams from one vessel, with their value in whole cents."""

    vessel: BlendVessel
    grams: int
    cents: int
    per_pound: Decimal
    value_from: ValueFrom
    leaves_grams: int
    is_above_moisture_limit: bool


@dataclass(frozen=True)
class FoundBlend:
    """The blend of least value."""

    lines: Sequence[BlendLine]
    outcome: BlendOutcome
    # By how much a better one could be cheaper, at most; 0 where there is none.
    cheaper_by_cents_at_most: int

    @property
    def cents(self) -> int:
        """The sum of the lines as they are shown."""
        return sum(line.cents for line in self.lines)

    @property
    def per_pound(self) -> Decimal | None:
        """The value of a pound of what is poured; None where nothing needs to be poured."""
        grams = self.outcome.moved_grams
        if not grams:
            return None
        return (Decimal(self.cents) / 100 / (in_units(grams))).quantize(Decimal("0.0001"))


@dataclass(frozen=True)
class BlendSearch:
    """The answer to a question: a blend, or the ways out, or a sentence that says why neither."""

    found: FoundBlend | None = None
    ways: Sequence[SaidWayOut] = ()
    sentence: str = ""

    @classmethod
    def of(cls, question: BlendQuestion) -> "BlendSearch":
        if obstacle := blend_sentences.obstacle(question):
            return cls(sentence=obstacle)
        programme = question.programme
        answer = blending.solve(programme, seconds=SEARCH_SECONDS)
        if (mixture := answer.mixture) is not None:
            return cls(found=_found(question, mixture, int(answer.cents_more_at_most)))
        if not answer.is_finished:
            return cls(sentence=blend_sentences.unfinished())
        ways = blending.ways_out(programme, seconds=WAYS_SECONDS)
        if ways:
            return cls(ways=blend_sentences.ways(ways, question))
        return cls(sentence=_several_reasons(question))


def _several_reasons(question: BlendQuestion) -> str:
    """Say what could be reached with the weight alone; or that even the weight can't be."""
    limits = question.wish.limits
    free = replace(question.programme, colour=blending.Span(), moisture=blending.Span())
    moisture = blending.reach(free, "moisture")
    if moisture is None:
        ways = blend_sentences.ways(blending.ways_out(free, seconds=WAYS_SECONDS), question)
        return blend_sentences.even_without_quality(ways)
    return blend_sentences.together(
        blending.reach(free, "colour") if limits.has_colour else None, moisture
    )


def _found(
    question: BlendQuestion, mixture: blending.Mixture, cheaper_by_cents_at_most: int
) -> FoundBlend:
    by_key = {vessel.key: vessel for vessel in question.chosen}
    lines, rows = [], []
    for key, grams in mixture.grams.items():
        vessel = by_key[key]
        value, value_from = question.value_of(vessel)
        value = value or Fraction(0)
        lines.append(
            BlendLine(
                vessel=vessel,
                grams=grams,
                cents=round(value * grams),
                per_pound=per_pound(value),
                value_from=value_from,
                leaves_grams=vessel.grams - grams,
                is_above_moisture_limit=(
                    vessel.lot.honey_moisture > question.books.moisture_limit_percent
                ),
            )
        )
        rows.append(BlendRow(vessel.place, vessel.lot, grams, is_poured=True))
    if there := question.in_target:
        rows.append(BlendRow(there.place, there.lot, there.grams))
    outcome = blend_plans.outcome(rows, question.wish.limits, ProductionSettings.current())
    return FoundBlend(lines, outcome, cheaper_by_cents_at_most)

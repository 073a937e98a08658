"""What the pages of blend plans show: the plans, and what each would make or has made."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import cached_property

from django.db.models import Prefetch, QuerySet
from django.utils.translation import gettext as _

from inventory.physics import grading
from inventory.shared import words
from inventory.shared.money import split_cents
from inventory.stock import density, rules
from inventory.stock.blends import (
    TRIAL_GRAMS,
    BlendLimit,
    BlendLimits,
    BlendPart,
    mean_colour,
    mean_moisture,
)
from inventory.stock.models import (
    Balance,
    BlendPlan,
    BlendPlanLine,
    Item,
    Lot,
    Place,
    ProductionSettings,
)

# What two readers of a Pfund grader, and of a refractometer, may differ by (common practice).
NEAR_COLOUR_MM = Decimal(2)
NEAR_MOISTURE_PERCENT = Decimal("0.1")


@dataclass(frozen=True)
class BlendRow:
    """Honey of one vessel in a blend; what is in the target already is not poured."""

    place: Place
    lot: Lot
    grams: int
    is_poured: bool = False
    # The line of the plan, where there is a plan yet.
    line: BlendPlanLine | None = None
    # What is in the vessel now; None while it is empty.
    there: Balance | None = None
    trial_grams: int = 0
    is_above_moisture_limit: bool = False

    @property
    def has_other_honey(self) -> bool:
        """Whether the vessel has no longer the honey that the blend was planned with."""
        return self.there is None or self.there.lot_id != self.lot.pk

    @property
    def is_short(self) -> bool:
        return not self.has_other_honey and self.there is not None and self.there.free < self.grams


@dataclass(frozen=True)
class BlendOutcome:
    """What some honeys are together, beside what was asked of them."""

    rows: Sequence[BlendRow]
    limits: BlendLimits
    house_limit_percent: Decimal

    @property
    def parts(self) -> list[BlendPart]:
        return [
            BlendPart(row.grams, row.lot.honey_moisture, row.lot.colour_mm) for row in self.rows
        ]

    @property
    def grams(self) -> int:
        return sum(row.grams for row in self.rows)

    @property
    def moved_grams(self) -> int:
        """Grams that are poured; the honey in the target stays where it is."""
        return sum(row.grams for row in self.rows if row.is_poured)

    @cached_property
    def moisture_percent(self) -> Decimal | None:
        """The moisture of the blend, to a hundredth, as its lot will have it."""
        return _rounded(mean_moisture(self.parts), "0.01") if self.grams else None

    @cached_property
    def colour_mm(self) -> Decimal | None:
        """The approximate colour of the blend, to a tenth; None where that of a part is unknown."""
        colour = mean_colour(self.parts) if self.grams else None
        return None if colour is None else _rounded(colour, "0.1")

    @property
    def colour_class(self) -> str | None:
        return None if self.colour_mm is None else grading.colour_class(float(self.colour_mm))

    @cached_property
    def litres(self) -> Decimal | None:
        if self.moisture_percent is None:
            return None
        return density.litres_of(self.grams, moisture_percent=self.moisture_percent)

    @cached_property
    def broken(self) -> list[BlendLimit]:
        return self.limits.broken_by(self.parts)

    @property
    def misses(self) -> list[str]:
        """What is not as it was wanted, a sentence each."""
        said = {
            "grams_min": _("It weighs less than was wanted."),
            "grams_max": _("It weighs more than was wanted."),
            "colour_min": _("It is lighter than was wanted, or its colour is not known."),
            "colour_max": _("It is darker than was wanted, or its colour is not known."),
            "moisture_min": _("It has less moisture than was wanted."),
            "moisture_max": _("It has more moisture than was wanted."),
        }
        return [said[limit] for limit in self.broken]

    @property
    def near_limits(self) -> list[str]:
        """Say where the blend is so near what was wanted that a reading may miss it."""
        limits, told = self.limits, []
        if _is_near(self.colour_mm, limits.colour_mm_min, limits.colour_mm_max, NEAR_COLOUR_MM):
            told.append(
                _(
                    "The colour is less than %(near)s mm from what was wanted, and it is only "
                    "approximate: the blend may be read on the other side. To be safe, ask for a "
                    "colour further inside."
                )
                % {"near": NEAR_COLOUR_MM}
            )
        ends = limits.moisture_percent_min, limits.moisture_percent_max
        if _is_near(self.moisture_percent, *ends, NEAR_MOISTURE_PERCENT):
            told.append(
                _(
                    "The moisture is less than %(near)s %% from what was wanted: a refractometer "
                    "may read it on the other side. To be safe, ask for a moisture further inside."
                )
                % {"near": words.number(NEAR_MOISTURE_PERCENT)}
            )
        return told

    @property
    def weight_wanted(self) -> str:
        low, high = self.limits.grams_min, self.limits.grams_max
        return _range(words.weight(low, 1), None if high is None else words.weight(high, 1))

    @property
    def colour_wanted(self) -> str:
        """Which colour was asked for, in words: "17.1 to 34 mm"."""
        unit = _("mm")
        return _range(
            _figure(self.limits.colour_mm_min, unit), _figure(self.limits.colour_mm_max, unit)
        )

    @property
    def moisture_wanted(self) -> str:
        return _range(
            _figure(self.limits.moisture_percent_min, "%"),
            _figure(self.limits.moisture_percent_max, "%"),
        )

    @property
    def is_above_moisture_limit(self) -> bool:
        """Whether it has more moisture than the house puts into jars."""
        return self.moisture_percent is not None and (
            self.moisture_percent > self.house_limit_percent
        )

    @property
    def cost_cents(self) -> int | None:
        """What its honey cost; None while the cost of any part is unknown."""
        return rules.cost_cents((row.lot, row.grams) for row in self.rows)


def _is_near(
    figure: Decimal | None, low: Decimal | None, high: Decimal | None, near: Decimal
) -> bool:
    """Tell whether a figure is within its limits, but nearer than `near` to one of them."""
    ends = [end for end in (low, high) if end is not None]
    is_within = (
        figure is not None and (low is None or low <= figure) and (high is None or figure <= high)
    )
    return is_within and any(abs(end - (figure or 0)) < near for end in ends)


def _figure(figure: Decimal | None, unit: str) -> str | None:
    if figure is None:
        return None
    shortest = Decimal(f"{figure.normalize():f}")
    return f"{words.number(shortest)} {unit}"


def _range(low: str | None, high: str | None) -> str:
    """Say from which to which figure something may be."""
    if low == high:
        return low or _("any")
    if high is None:
        return _("at least %(low)s") % {"low": low}
    if low is None:
        return _("at most %(high)s") % {"high": high}
    return _("%(low)s to %(high)s") % {"low": low, "high": high}


def plans() -> QuerySet[BlendPlan]:
    """Return the blend plans, the newest first, with their lines."""
    lines = BlendPlanLine.objects.select_related("place", "lot")
    return (
        BlendPlan.objects.select_related(
            "target", "target_lot", "planned_by", "ended_by", "posting__reversed_by"
        )
        .prefetch_related(Prefetch("lines", lines))
        .order_by("-id")
    )


def drafted_grams(*, besides: BlendPlan | None = None) -> dict[int, int]:
    """Return how much honey of each vessel the drafts would take, by the key of the vessel."""
    lines = BlendPlanLine.objects.filter(plan__status=BlendPlan.Status.DRAFT)
    if besides is not None:
        lines = lines.exclude(plan=besides)
    wanted: dict[int, int] = {}
    for place, grams in lines.values_list("place", "grams"):
        wanted[place] = wanted.get(place, 0) + grams
    return wanted


def outcome_of(plan: BlendPlan, grams: Mapping[int, int] | None = None) -> BlendOutcome:
    """Return what a plan makes, or made; `grams` are other weights, by the key of the vessel.

    Of a plan that was carried out, it is what was really poured.
    """
    lines = list(plan.lines.all())
    vessels = [*(line.place_id for line in lines), plan.target_id]
    there = {
        balance.place_id: balance
        for balance in Balance.objects.filter(
            place__in=vessels, item__kind=Item.Kind.HONEY, quantity__gt=0
        ).select_related("lot")
    }
    rows = [
        BlendRow(
            place=line.place,
            lot=line.lot,
            grams=line.moved_grams if grams is None else grams.get(line.place_id, 0),
            is_poured=True,
            line=line,
            there=there.get(line.place_id),
        )
        for line in lines
    ]
    if (in_target := _in_target(plan, there.get(plan.target_id))) is not None:
        rows.append(in_target)
    return outcome(rows, plan.limits, ProductionSettings.current())


def outcome(
    rows: Sequence[BlendRow], limits: BlendLimits, settings: ProductionSettings
) -> BlendOutcome:
    """Return what these rows make together, each with its part of a small trial blend."""
    limit = settings.moisture_limit_percent
    poured = [row.grams for row in rows]
    trial = split_cents(TRIAL_GRAMS, poured) if any(poured) else poured
    told = [
        replace(row, trial_grams=part, is_above_moisture_limit=row.lot.honey_moisture > limit)
        for row, part in zip(rows, trial, strict=True)
    ]
    return BlendOutcome(told, limits, limit)


def _in_target(plan: BlendPlan, there: Balance | None) -> BlendRow | None:
    """Return the honey that is in the target before anything is poured; None where there is none.

    Once the plan was carried out, that is what was there then.
    """
    if plan.target_lot is None:
        return None
    if plan.is_open:
        grams = there.quantity if there and there.lot_id == plan.target_lot_id else 0
    else:
        grams = plan.target_grams or 0
    return BlendRow(plan.target, plan.target_lot, grams, there=there) if grams else None


def _rounded(figure: Fraction, step: str) -> Decimal:
    exact = Decimal(figure.numerator) / figure.denominator
    return exact.quantize(Decimal(step), ROUND_HALF_EVEN)

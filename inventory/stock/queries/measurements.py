"""The measurements of a lot, for its page and its certificate."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.stock import rules
from inventory.stock.models import Lot, Measurement
from inventory.stock.models.measurements import figure_in_words, grade_in_words


@dataclass(frozen=True)
class HouseFigure:
    """A figure of the house: measured, entered with the lot, or worked out for a blend."""

    what: str
    value: str
    grade: str
    method: str
    measured_on: date | None = None
    measurement: Measurement | None = None


@dataclass(frozen=True)
class LotFigures:
    """All figures of a lot: the house's, a laboratory's, and what was removed."""

    house: list[HouseFigure]
    laboratory: list[Measurement]
    removed: list[Measurement]

    @property
    def proven(self) -> list[Measurement]:
        """The laboratory's figures whose report is attached."""
        return [each for each in self.laboratory if each.has_report]


def of_lot(lot: Lot) -> LotFigures:
    """Return the figures of a lot in the order of `Measurement.What`, each by day, in one query."""
    order = list(Measurement.What.values)
    found = sorted(
        lot.measurements.select_related("report", "recorded_by", "removed_by"),
        key=lambda each: (order.index(each.what), each.measured_on, each.pk),
    )
    there = [each for each in found if each.removed_at is None]
    by_house = [each for each in there if not each.is_laboratory]
    return LotFigures(
        house=_with_the_lots_own(lot, by_house),
        laboratory=[each for each in there if each.is_laboratory],
        removed=[each for each in found if each.removed_at is not None],
    )


def _with_the_lots_own(lot: Lot, measured: list[Measurement]) -> list[HouseFigure]:
    """Put the lot's own moisture and colour before what was measured, unless they are the same."""
    own: dict[str, Decimal | None] = {
        Measurement.What.MOISTURE: lot.moisture_percent,
        Measurement.What.COLOUR: lot.colour_mm,
    }
    figures = []
    for what in Measurement.What.values:
        of_kind = [each for each in measured if each.what == what]
        value = own.get(what)
        if value is not None and (
            not rules.has_own_origin(lot) or value not in [each.value for each in of_kind]
        ):
            figures.append(_own(lot, what, value))
        figures += [
            HouseFigure(
                what=each.get_what_display(),
                value=each.in_words,
                grade=each.grade,
                method=each.get_method_display(),
                measured_on=each.measured_on,
                measurement=each,
            )
            for each in of_kind
        ]
    return figures


def _own(lot: Lot, what: str, value: Decimal) -> HouseFigure:
    # What came in was measured by somebody; only a mixture has figures that are worked out.
    is_worked_out = not rules.has_own_origin(lot)
    return HouseFigure(
        what=str(Measurement.What(what).label),
        value=figure_in_words(what, value),
        grade=grade_in_words(what, value),
        method=_("worked out: weighted mean")
        if is_worked_out
        else str(Measurement.Method.NOT_RECORDED.label),
    )

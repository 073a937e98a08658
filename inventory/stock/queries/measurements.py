"""The measurements of a lot, for its page and its certificate."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.utils.formats import date_format
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
    # The lot keeps the figure that it was entered with, but its measurement was removed.
    is_removed: bool = False


@dataclass(frozen=True)
class LotFigures:
    """All figures of a lot: the house's, a laboratory's, and what was removed.

    `disagreement` says where a later moisture is worse than the one the lot keeps.
    """

    house: list[HouseFigure]
    laboratory: list[Measurement]
    removed: list[Measurement]
    disagreement: str = ""

    @property
    def certified(self) -> list[HouseFigure]:
        """The house's figures that stand: none whose measurement was removed."""
        return [figure for figure in self.house if not figure.is_removed]

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
    removed = [each for each in found if each.removed_at is not None]
    return LotFigures(
        house=_with_the_lots_own(lot, by_house, removed),
        laboratory=[each for each in there if each.is_laboratory],
        removed=removed,
        disagreement=_disagreement(lot, there),
    )


def _disagreement(lot: Lot, measured: list[Measurement]) -> str:
    """Say that the latest moisture has a worse grade, or keeps worse, than the lot's own figure."""
    moistures = [each for each in measured if each.what == Measurement.What.MOISTURE]
    if not moistures:
        return ""
    latest = max(moistures, key=lambda each: (each.measured_on, each.pk))
    now, own = Lot(moisture_percent=latest.value), Lot(moisture_percent=lot.moisture_percent)
    if latest.value <= lot.honey_moisture or (
        (now.moisture_grade, now.fermentation_warning)
        == (own.moisture_grade, own.fermentation_warning)
    ):
        return ""
    sentence = _("Measured on %(day)s: %(figure)s, %(grade)s.") % {
        "day": date_format(latest.measured_on),
        "figure": latest.in_words,
        "grade": latest.grade,
    }
    return f"{sentence} {now.fermentation_warning}".strip()


def _with_the_lots_own(
    lot: Lot, measured: list[Measurement], removed: list[Measurement]
) -> list[HouseFigure]:
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
            own_figure = _own(lot, what, value)
            if lot.kind != Lot.Kind.BLEND and value in [
                each.value for each in removed if each.what == what
            ]:
                own_figure = replace(own_figure, method=_("entered with the lot"), is_removed=True)
            figures.append(own_figure)
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

"""The measurements of a lot, for its page and its certificate."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.stock import rules
from inventory.stock.models import Lot, Measurement
from inventory.stock.models.measurements import OWN_FIGURES, figure_in_words, grade_in_words


@dataclass(frozen=True)
class HouseFigure:
    """A figure of the house: measured, entered with the lot, or worked out for a blend."""

    what: str
    value: str
    grade: str
    method: str
    measured_on: date | None = None
    measurement: Measurement | None = None
    # The lot came with this figure, but its measurement was removed.
    is_removed: bool = False


@dataclass(frozen=True)
class LotFigures:
    """All figures of a lot: the house's, a laboratory's, and what was removed.

    `latest` are the measurements whose moisture and colour are the lot's own now; none of a figure
    that was never measured again.
    """

    house: list[HouseFigure]
    laboratory: list[Measurement]
    removed: list[Measurement]
    latest: list[Measurement]

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
        lot.measurements.select_related("report", "recorded_by", "removed_by", "place"),
        key=lambda each: (order.index(each.what), each.measured_on, each.pk),
    )
    there = [each for each in found if each.removed_at is None]
    again = [each for each in there if each.idempotency_key is not None]
    by_house = [each for each in there if not each.is_laboratory]
    removed = [each for each in found if each.removed_at is not None]
    return LotFigures(
        house=_with_the_lots_own(lot, by_house, removed, _at_first(lot, found)),
        laboratory=[each for each in there if each.is_laboratory],
        removed=removed,
        latest=[
            # Sorted by day and key already.
            [each for each in again if each.what == what][-1]
            for what in OWN_FIGURES
            if any(each.what == what for each in again)
        ],
    )


def _at_first(lot: Lot, found: Sequence[Measurement]) -> dict[str, Decimal | None]:
    """Return the moisture and colour that a lot came with, or that were worked out for a blend."""
    return {
        what: getattr(lot, at_first if _is_measured_again(found, what) else own)
        for what, (own, at_first) in OWN_FIGURES.items()
    }


def _is_measured_again(found: Sequence[Measurement], what: str) -> bool:
    return any(each.what == what and each.idempotency_key is not None for each in found)


def _with_the_lots_own(
    lot: Lot,
    measured: list[Measurement],
    removed: list[Measurement],
    own: Mapping[str, Decimal | None],
) -> list[HouseFigure]:
    """Put what the lot came with before what was measured of it, unless they are the same."""
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

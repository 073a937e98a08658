"""Figures measured of a lot or in a vessel: recorded, and removed where one was wrong.

The lot's own moisture and colour follow the latest measurement, so that volumes, grades, warnings
and what is blended or filled of it do too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import checks, days, file_contents, words
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    NotAllowedNow,
    Problems,
    parameters_named,
)
from inventory.shared.models import Attachment
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules
from inventory.stock.models import (
    Balance,
    Lot,
    Measurement,
    Place,
    VesselTemperature,
)
from inventory.stock.models.measurements import OWN_FIGURES, figure_in_words
from inventory.stock.services import lot_corrections, lots

NOTE_MAX = 200


@transaction.atomic
def record(
    *,
    lot: Lot,
    what: str,
    value: Decimal,
    measured_on: date,
    recorded_by: Person,
    key: str,
    method: str = Measurement.Method.NOT_RECORDED,
    instrument: str = "",
    measured_by: str = "",
    is_laboratory: bool = False,
    laboratory: str = "",
    report: Attachment | None = None,
    note: str = "",
    is_below: bool = False,
    place: Place | None = None,
) -> Measurement:
    """Keep a figure that was measured of a lot of honey, in a vessel where one is named.

    The latest moisture and colour become the lot's own; those that it came with are kept too.
    With `is_below`, `value` is the least that could be detected, and the figure is below it. A
    laboratory's figure needs the name of the laboratory and its report, attached to this lot.
    Raises `BadValue` (or several), `AlreadyRecorded`.
    """
    lot = Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=lot.pk)
    refuse_repeat(Measurement, key)
    problems = Problems()
    if lot.product_id is not None:
        problems.add(
            "lot", _("%(lot)s is packed. Measure the lot that it was filled from.") % {"lot": lot}
        )
    if lot.kind == Lot.Kind.GOODS:
        problems.add("lot", _("%(lot)s is no honey.") % {"lot": lot})
    _check_value(problems, what, value)
    if is_below:
        _check_below(problems, what, value)
    checks.check_day(problems, "measured_on", measured_on)
    if measured_on < lot.made_on:
        problems.add(
            "measured_on",
            _("Lot %(lot)s was made on %(day)s. Choose that day or a later one.")
            % {"lot": lot.code, "day": date_format(lot.made_on)},
        )
    if is_laboratory:
        _check_laboratory(problems, lot, laboratory, report)
    elif report is not None or laboratory.strip():
        problems.add(
            "is_laboratory",
            _("Tick that a laboratory measured it, or leave out the laboratory and its report."),
        )
    problems.raise_any()
    measurement = Measurement(
        lot=lot,
        place=place,
        what=what,
        value=value,
        is_below=is_below,
        method=Measurement.Method.LABORATORY if is_laboratory else method,
        instrument=instrument.strip(),
        measured_on=measured_on,
        measured_by=measured_by.strip(),
        is_laboratory=is_laboratory,
        laboratory=laboratory.strip(),
        report=report,
        note=note.strip(),
        recorded_by=recorded_by,
        idempotency_key=key,
    )
    checks.save_checked(measurement)
    _follow(measurement, lot, recorded_by)
    return measurement


@dataclass(frozen=True)
class MeasuredAgain:
    """What was measured in a vessel on a day: figures of the lot in it, and its temperature."""

    place: Place
    lot: Lot
    figures: Sequence[Measurement]
    temperature: VesselTemperature | None


@transaction.atomic
def measure_again(
    *,
    place: Place,
    measured_on: date,
    recorded_by: Person,
    key: str,
    moisture_percent: Decimal | None = None,
    refractive_index: Decimal | None = None,
    brix: Decimal | None = None,
    refractometer_celsius: Decimal | None = None,
    colour_mm: Decimal | None = None,
    celsius: Decimal | None = None,
    moisture_method: str = "",
    colour_method: str = "",
    instrument: str = "",
    measured_by: str = "",
    note: str = "",
) -> MeasuredAgain:
    """Keep the moisture, colour and temperature of the honey that was in a vessel on a day.

    The moisture as it was read: in percent of water, as a refractive index or in °Brix, at a
    temperature where the instrument does not correct for it. What came of an index or of °Brix is
    worked out by the table of honey, and the reading is kept in the note. The lot has the new
    moisture and colour from that day on, wherever else it is.
    Raises `BadValue`, `NotAllowedNow` where the vessel was empty on that day, `AlreadyRecorded`.
    """
    place = Place.objects.select_for_update().get(pk=place.pk)
    for model in (Measurement, VesselTemperature):
        if model.objects.filter(idempotency_key__startswith=f"{key}:").exists():
            raise AlreadyRecorded(_("This was recorded already."), made=place)
    problems = Problems()
    rules.check_vessel(problems, "place", place)
    checks.check_day(problems, "measured_on", measured_on)
    readings = [each for each in (moisture_percent, refractive_index, brix) if each is not None]
    moisture = None
    if len(readings) > 1:
        problems.add(
            "moisture_percent",
            _("Enter one reading of the moisture: percent of water, the index, or °Brix."),
        )
    elif readings:
        try:
            index = refractive_index if brix is None else lots.index_from_brix(brix)
            moisture = lots.moisture_known(moisture_percent, index, refractometer_celsius)
        except BadValue as error:
            problems.add_error(_at_brix(error) if brix is not None else error)
    elif colour_mm is None and celsius is None:
        problems.add(
            "moisture_percent", _("Enter the moisture, the colour or the temperature of the honey.")
        )
    low, high = VesselTemperature.CELSIUS_MIN, VesselTemperature.CELSIUS_MAX
    if celsius is not None and not low <= celsius <= high:
        problems.add(
            "celsius",
            _("Enter a temperature from %(low)s to %(high)s.")
            % {"low": words.temperature(low), "high": words.temperature(high)},
        )
    problems.raise_any()
    lot = lot_on(place, measured_on)
    if lot is None:
        raise NotAllowedNow(
            _("%(place)s had no honey on %(day)s. Choose another day.")
            % {"place": place.name, "day": date_format(measured_on)},
            parameter="measured_on",
        )
    figures = []
    reading = _reading_in_words(moisture_percent, refractive_index, brix, refractometer_celsius)
    if moisture is not None and not moisture_method:
        is_by_index = refractive_index is not None or brix is not None
        moisture_method = Measurement.Method.REFRACTOMETER if is_by_index else ""
    for what, value, method, said in (
        (Measurement.What.MOISTURE, moisture, moisture_method, reading),
        (Measurement.What.COLOUR, colour_mm, colour_method, ""),
    ):
        if value is None:
            continue
        with parameters_named(
            value="colour_mm" if what == Measurement.What.COLOUR else "moisture_percent"
        ):
            figures.append(
                record(
                    lot=lot,
                    place=place,
                    what=what,
                    value=value,
                    method=method or Measurement.Method.NOT_RECORDED,
                    instrument=instrument,
                    measured_on=measured_on,
                    measured_by=measured_by,
                    note=" ".join(part for part in (note.strip(), said) if part)[:NOTE_MAX],
                    recorded_by=recorded_by,
                    key=f"{key}:{what}",
                )
            )
    temperature = None
    if celsius is not None:
        temperature = VesselTemperature(
            place=place,
            celsius=celsius,
            measured_on=measured_on,
            measured_by=measured_by.strip(),
            recorded_by=recorded_by,
            idempotency_key=f"{key}:temperature",
        )
        checks.save_checked(temperature)
    return MeasuredAgain(place, lot, figures, temperature)


def lot_on(place: Place, day: date) -> Lot | None:
    """Return the lot that was in a vessel at the end of a day, or that was emptied out that day."""
    for midnight in (days.start_of(day + timedelta(days=1)), days.start_of(day)):
        there = Balance.objects.in_vessel(place, midnight - days.JUST)
        if there is not None:
            return there.honey_lot
    return None


def _at_brix(error: BadValue) -> BadValue:
    """Say at the °Brix that was typed what is wrong with the index that it comes to."""
    for problem in error.problems:
        if problem.parameter == "refractive_index":
            problem.parameter = "brix"
    return error


def _reading_in_words(
    moisture_percent: Decimal | None,
    refractive_index: Decimal | None,
    brix: Decimal | None,
    celsius: Decimal | None,
) -> str:
    """Write what the instrument showed, where the moisture was worked out from it."""
    at = {"celsius": "" if celsius is None else words.temperature(celsius)}
    if brix is not None:
        figure = {"figure": words.number(brix.normalize())}
        if celsius is None:
            return _("Read: %(figure)s °Brix.") % figure
        return _("Read: %(figure)s °Brix at %(celsius)s.") % {**figure, **at}
    if refractive_index is not None:
        figure = {"figure": words.number(refractive_index)}
        if celsius is None:
            return _("Read: index %(figure)s.") % figure
        return _("Read: index %(figure)s at %(celsius)s.") % {**figure, **at}
    if moisture_percent is not None and celsius is not None:
        figure = {"figure": words.number(moisture_percent.normalize())}
        return _("Read: %(figure)s %% at %(celsius)s.") % {**figure, **at}
    return ""


def record_with_lot(
    *, lot: Lot, recorded_by: Person, moisture_method: str = "", colour_method: str = ""
) -> None:
    """Keep the moisture and colour that were entered with a new lot, as measured on its day.

    A refractometer's index says by itself how the moisture was measured.
    """
    Method = Measurement.Method  # noqa: N806  # the class, under a shorter name
    if not moisture_method and lot.refractive_index is not None:
        moisture_method = Method.REFRACTOMETER
    entered = [("moisture_method", Measurement.What.MOISTURE, lot.honey_moisture, moisture_method)]
    if lot.colour_mm is not None:
        entered.append(("colour_method", Measurement.What.COLOUR, lot.colour_mm, colour_method))
    for parameter, what, value, method in entered:
        measurement = Measurement(
            lot=lot,
            what=what,
            value=value,
            method=method or Method.NOT_RECORDED,
            measured_on=lot.made_on,
            recorded_by=recorded_by,
        )
        with parameters_named(method=parameter):
            checks.save_checked(measurement)


@transaction.atomic
def remove(*, measurement: Measurement, removed_by: Person) -> Measurement:
    """Take a wrong figure off the lot's page and certificate; the row is kept.

    The lot then has the moisture or colour that was measured before, or that it came with.
    Raises `NotAllowedNow` for one that was removed before.
    """
    measurement = Measurement.objects.select_for_update().get(pk=measurement.pk)
    if measurement.removed_at is not None:
        raise NotAllowedNow(_("This measurement was removed already."))
    measurement.removed_at = timezone.now()
    measurement.removed_by = removed_by
    checks.save_checked(measurement)
    lot = Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=measurement.lot_id)
    _follow(measurement, lot, removed_by)
    return measurement


def _follow(measurement: Measurement, lot: Lot, by: Person) -> None:
    """Have the moisture and colour of a lot, and of what was made of it, follow a measurement.

    It counts from its day on, whenever it is entered or removed: a blend, and jars filled of it,
    have the mean of what went in as it was known at the end of their day.
    """
    what, day = measurement.what, measurement.measured_on
    # What was entered with the lot is its own already.
    if what not in OWN_FIGURES or measurement.idempotency_key is None:
        return
    before = {lot.pk: lot_corrections.figures(lot)}
    own, at_first = OWN_FIGURES[what]
    again = Measurement.objects.again(lot, what)
    if measurement.removed_at is None and len(again) == 1:
        setattr(lot, at_first, getattr(lot, own))
    setattr(lot, own, Measurement.objects.figure_of(lot, what))
    checks.save_checked(lot)
    said = _("Measured again on %(day)s: %(measurement)s.")
    if measurement.removed_at is not None:
        said = _("The measurement of %(day)s was removed: %(measurement)s.")
    lot_corrections.work_out_again(
        before,
        posting=None,
        person=by,
        reason=said % {"day": date_format(day), "measurement": measurement},
        since=day,
    )


def _check_value(problems: Problems, what: str, value: Decimal) -> None:
    if what not in Measurement.What.values:
        problems.add("what", _("Choose one from the list."))
        return
    name = Measurement.What(what)
    scale = Measurement.SCALES[name]
    if not scale.low <= value <= scale.high:
        problems.add(
            "value",
            _("%(what)s can be from %(low)s to %(high)s. Check the figure and its unit.")
            % {
                "what": name.label,
                "low": figure_in_words(what, scale.low),
                "high": figure_in_words(what, scale.high),
            },
        )
    elif round(value, scale.decimals) != value:
        problems.add(
            "value",
            _("%(what)s: enter at most %(decimals)s decimals.")
            % {"what": name.label, "decimals": scale.decimals},
        )


def _check_below(problems: Problems, what: str, value: Decimal) -> None:
    if what not in Measurement.DETECTED_FROM_A_LIMIT:
        problems.add("is_below", _("Only HMF, diastase and conductivity can be below a limit."))
    elif value <= 0:
        problems.add("value", _("Enter the limit of detection, a figure above zero."))


def _check_laboratory(
    problems: Problems, lot: Lot, laboratory: str, report: Attachment | None
) -> None:
    if not laboratory.strip():
        problems.add("laboratory", _("Enter the name of the laboratory."))
    if report is None:
        problems.add("report", _("Attach the laboratory's report to the lot, and choose it here."))
    elif not Attachment.objects.of(lot).in_use().filter(pk=report.pk).exists():
        problems.add("report", _("Choose a report that is attached to lot %(lot)s.") % {"lot": lot})
    elif report.media_type not in file_contents.SHOWN_INLINE:
        problems.add("report", _("A laboratory's report is a PDF or a picture. Choose another."))

"""Figures measured of a lot: recorded, and removed where one was wrong."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import checks, file_contents
from inventory.shared.errors import NotAllowedNow, Problems, parameters_named
from inventory.shared.models import Attachment
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Lot, Measurement
from inventory.stock.models.measurements import figure_in_words


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
) -> Measurement:
    """Keep a figure that was measured of a lot of honey; the lot's own figures stay as entered.

    With `is_below`, `value` is the least that could be detected, and the figure is below it. A
    laboratory's figure needs the name of the laboratory and its report, attached to this lot.
    Raises `BadValue` (or several), `AlreadyRecorded`.
    """
    lot = Lot.objects.select_for_update(of=("self",)).get(pk=lot.pk)
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
    return measurement


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

    Raises `NotAllowedNow` for one that was removed before.
    """
    measurement = Measurement.objects.select_for_update().get(pk=measurement.pk)
    if measurement.removed_at is not None:
        raise NotAllowedNow(_("This measurement was removed already."))
    measurement.removed_at = timezone.now()
    measurement.removed_by = removed_by
    checks.save_checked(measurement)
    return measurement


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

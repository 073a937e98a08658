"""Lots of a house from before measurements counted: its migration lets them follow."""

from datetime import date
from decimal import Decimal
from importlib import import_module
from pathlib import Path

from django.apps import apps

from inventory import migrations
from inventory.stock.models import Lot, Measurement
from inventory.stock.services import measurements
from tests import builders


def migrate() -> None:
    [path] = Path(migrations.__file__).parent.glob("*_measured_again.py")
    step = import_module(f"inventory.migrations.{path.stem}")
    step.let_lots_follow_what_was_measured(apps, None)


def test_a_lot_that_was_measured_later_has_that_figure_and_keeps_the_one_it_came_with(owner):
    lot = builders.lot_in(builders.place("tank-1"), moisture_percent="18.8", colour_mm="30")
    other = builders.lot_in(builders.place("tank-2"), moisture_percent="17.4")
    for value, day, is_removed in (("17.9", 5, False), ("17.2", 3, False), ("19", 9, True)):
        made = measurements.record(
            lot=lot,
            what=Measurement.What.MOISTURE,
            value=Decimal(value),
            measured_on=date(2026, 8, day),
            recorded_by=owner,
            key=f"{value}",
        )
        if is_removed:
            measurements.remove(measurement=made, removed_by=owner)
    # As it was kept before.
    Lot.objects.update(moisture_percent_at_first=None, colour_mm_at_first=None)
    Lot.objects.filter(pk=lot.pk).update(moisture_percent=Decimal("18.8"))

    migrate()

    lot.refresh_from_db()
    other.refresh_from_db()
    assert (lot.moisture_percent, lot.moisture_percent_at_first) == (
        Decimal("17.9"),
        Decimal("18.8"),
    )
    assert (lot.colour_mm, lot.colour_mm_at_first) == (Decimal(30), None)
    assert (other.moisture_percent, other.moisture_percent_at_first) == (Decimal("17.4"), None)

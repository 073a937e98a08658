"""The month of a day in a question to the database."""

from datetime import date

import pytest

from inventory.shared.month_of import MonthOf
from inventory.stock.models import Lot
from tests import builders

pytestmark = pytest.mark.django_db


def test_the_month_of_a_day_is_its_first_day_and_can_be_filtered():
    days = [date(2024, 2, 29), date(2025, 12, 31), date(2026, 1, 1)]
    for number, day in enumerate(days):
        lot = builders.lot_in(builders.place(f"tank-{number}"), 1_000)
        Lot.objects.filter(pk=lot.pk).update(made_on=day)

    lots = Lot.objects.annotate(month=MonthOf("made_on")).order_by("made_on")

    months = [date(2024, 2, 1), date(2025, 12, 1), date(2026, 1, 1)]
    assert list(lots.values_list("month", flat=True)) == months
    assert lots.get(month=date(2025, 12, 1)).made_on == date(2025, 12, 31)

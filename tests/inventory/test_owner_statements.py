"""The statement of an owner: counts stand by themselves, and what is printed adds up."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.shared.templatetags.honey import change_of
from inventory.stock.models import Balance
from inventory.stock.queries import owners
from inventory.stock.services import honey as honey_acts
from inventory.stock.services import others, stores
from tests import builders
from tests.inventory import others_room, pages
from tests.inventory.others_room import act, bring, packed

pytestmark = pytest.mark.django_db


def printed(quantity: int, item) -> Decimal:
    """Read a figure as the statement prints it."""
    return Decimal(change_of(quantity, item).split()[0].replace("−", "-").replace(",", ""))


def test_what_a_count_found_or_did_not_is_no_loss():
    hanna = others_room.hanna()
    room, lot = packed(hanna)
    there = Balance.objects.get(lot=lot, is_physical=True)
    for counted in (90, 94):
        act(
            stores.count,
            item=there.item,
            lot=lot,
            place=room.shelf,
            counted=counted,
            reason="counted",
        )

    jars = owners.statement(hanna, date(2026, 1, 1), timezone.localdate()).sums[1]
    page = pages.signed_in("office").get(reverse("inventory:owner_statement", args=[hanna.pk]))

    assert (jars.changes["counted"], jars.changes["lost"], jars.closing) == (-2, 0, 94)
    assert "count" in pages.text(page)
    assert "+4 pieces" in pages.text(page)


def test_lines_add_up_to_the_sums_as_they_are_printed():
    """Each of seven times 20 g is 0.04 lb, 0.0 when rounded alone; together they are 0.3 lb."""
    hanna, tank = others_room.hanna(), builders.place("tank")
    bring(hanna, tank, 100_011)
    for _time in range(7):
        act(honey_acts.write_off, place=tank, grams=20, reason="spoilage")
    act(others.hand_back, place=tank, grams=33_333)

    made = owners.statement(hanna, date(2026, 1, 1), timezone.localdate())

    [sums] = made.sums
    lines = sum(printed(row.shown, row.item) for row in made.rows)
    columns = sum(printed(shown, sums.item) for shown in sums.shown.values())
    assert lines == columns == printed(sums.closing, sums.item)
    assert printed(sums.shown["lost"], sums.item) == Decimal("-0.3")
    exact = [row[4] for row in owners.table(made)][1:-1]
    assert exact == [100_011, *[-20] * 7, -33_333]


@pytest.mark.parametrize("page", ["owner_statement", "owner_statement_pdf", "owner_statement_csv"])
def test_a_first_day_after_the_last_is_refused_at_its_field(page):
    hanna = others_room.hanna()
    bring(hanna, builders.place("tank"))

    answer = pages.signed_in("office").get(
        reverse(f"inventory:{page}", args=[hanna.pk]),
        {"since": "2026-09-01", "until": "2026-08-31"},
    )

    assert pages.errors(answer) == {
        "since": ["This day is after the last one. Choose an earlier day."]
    }

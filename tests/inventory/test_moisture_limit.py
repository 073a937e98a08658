"""The house's own limit of moisture: who is warned, and what is asked before wet honey is used."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.bottling.models import BottlingRun
from inventory.shared.errors import BadValue
from inventory.stock import rules
from inventory.stock.models import Lot, ProductionSettings
from inventory.stock.queries import honey as queries
from inventory.stock.services import measurements, production
from tests import builders
from tests.inventory import bottling_room
from tests.inventory.pages import errors, signed_in, text

A_LIMIT = Decimal("18.6")
MAY_FERMENT = (
    "Above 18.6 % moisture: this honey may ferment and does not meet U.S. Grade A. Dry it or "
    "blend it."
)
COOL_AND_CLEAN = "Above 17.1 % moisture: this honey keeps only if it stays cool and clean."
OWN_LIMIT = "Above your own limit of 17.5 % moisture: this honey may ferment. Dry it or blend it."
ASKED = (
    "Lot 26-E01 in Tank 1 has 18.7 % moisture, above your limit of 18.6 %, so it may ferment. "
    "Choose other honey, dry it or blend it, or tick that it is used all the same."
)


@pytest.mark.parametrize(
    ("moisture", "limit", "warning", "note"),
    [
        ("17.1", "18.6", "", ""),
        ("17.2", "18.6", "", COOL_AND_CLEAN),
        ("18.6", "18.6", "", COOL_AND_CLEAN),
        ("18.61", "18.6", MAY_FERMENT, ""),
        ("17.5", "17.5", "", COOL_AND_CLEAN),
        ("17.51", "17.5", OWN_LIMIT, ""),
        # A house that sells baker's honey is warned later, and reads the rest at the lot.
        ("19.5", "20", "", MAY_FERMENT),
    ],
)
def test_a_warning_is_only_above_the_houses_own_limit(moisture, limit, warning, note):
    lot = Lot(moisture_percent=Decimal(moisture))

    assert rules.moisture_warning(lot, Decimal(limit)) == warning
    assert rules.quiet_note(lot, Decimal(limit)) == note


def wet_tanks(count: int) -> None:
    for number in range(1, count + 1):
        tank = builders.place(f"tank-{number}", name=f"Tank {number}")
        builders.lot_in(tank, moisture_percent=f"18.{6 + number if number < 4 else 9}")


@pytest.mark.django_db
def test_five_equal_warnings_are_one_line_with_their_count():
    wet_tanks(5)

    warnings = queries.in_hand().moisture_warnings
    pages = [
        text(signed_in("owner").get(reverse(name))) for name in ("web:today", "inventory:honey")
    ]

    assert [(each.sentence, len(each.lots)) for each in warnings] == [(MAY_FERMENT, 5)]
    for page in pages:
        assert page.count(MAY_FERMENT) == 1
        assert f"5 lots, up to 18.90 %: {MAY_FERMENT}" in page


@pytest.mark.django_db
def test_below_the_limit_only_the_page_of_the_lot_has_a_quiet_note():
    lot = builders.lot_in(builders.place("tank-1"), moisture_percent="18.2")
    owner = signed_in("owner")

    pages = {
        name: text(owner.get(reverse(name, args=args)))
        for name, args in (
            ("web:today", []),
            ("inventory:honey", []),
            ("inventory:lot_list", []),
            ("inventory:place_detail", ["tank-1"]),
            ("inventory:lot_detail", [lot.code]),
        )
    }

    assert [name for name, page in pages.items() if COOL_AND_CLEAN in page] == [
        "inventory:lot_detail"
    ]
    assert "by moisture, at best U.S. Grade A" in pages["inventory:lot_detail"]


@pytest.fixture
def wet_room(db, owner):
    room = bottling_room.set_up()
    measurements.record(
        lot=room.lot,
        what="moisture",
        value=Decimal("18.7"),
        measured_on=room.lot.made_on,
        recorded_by=owner,
        key="wet",
    )
    return room


def test_a_run_of_honey_above_the_limit_is_planned_only_when_told_to(wet_room):
    with pytest.raises(BadValue) as refused:
        bottling_room.plan(wet_room, 10)

    assert (refused.value.parameter, refused.value.message) == ("moisture_is_right", ASKED)
    assert not BottlingRun.objects.exists()
    assert bottling_room.plan(wet_room, 10, moisture_is_right=True).pieces_planned == 10


def test_at_the_limit_nothing_is_asked(wet_room):
    ProductionSettings(moisture_limit_percent=Decimal("18.7")).save()

    assert bottling_room.plan(wet_room, 10).pieces_planned == 10


def test_the_page_of_a_plan_asks_with_a_box_and_takes_the_tick(wet_room):
    bottler, address = signed_in("bottling"), reverse("inventory:run_plan")
    form = {
        "product": wet_room.product.pk,
        "source": "tank-1",
        "pieces": "10",
        "planned_for": builders.today().isoformat(),
        "celsius": "90",
        "celsius_unit": "F",
        "target": wet_room.shelf.pk,
        "key": "page",
    }

    asked = bottler.post(address, form)
    taken = bottler.post(address, {**form, "moisture_is_right": "on"})

    assert errors(asked) == {"moisture_is_right": [ASKED]}
    assert "Yes, use this honey all the same" in asked.text
    assert taken.status_code == 302
    assert BottlingRun.objects.get().pieces_planned == 10


@pytest.mark.parametrize(
    ("fields", "refused"),
    [
        (
            {"moisture_limit_percent": Decimal("14.9")},
            "Enter a limit of moisture from 15 to 25 percent.",
        ),
        (
            {"moisture_limit_percent": Decimal("25.1")},
            "Enter a limit of moisture from 15 to 25 percent.",
        ),
        (
            {"named_source_percent": Decimal("50.1")},
            "Enter the least share that is named, from 0 to 50 percent.",
        ),
    ],
)
def test_a_limit_that_cannot_be_is_refused(db, fields, refused):
    with pytest.raises(BadValue) as error:
        production.change(
            labour_cents_per_hour=0,
            honey_house_celsius=Decimal(32),
            cost_method="fifo",
            **fields,
        )

    assert (error.value.parameter, error.value.message) == (next(iter(fields)), refused)
    assert ProductionSettings.current().moisture_limit_percent == A_LIMIT


def test_the_house_sets_its_limits_on_the_page_of_its_figures(db):
    owner, address = signed_in("owner"), reverse("inventory:production_settings")
    page = owner.get(address).text
    assert 'value="18.6"' in page

    owner.post(
        address,
        {
            "labour": "20",
            "celsius": "90",
            "celsius_unit": "F",
            "cost_method": "fifo",
            "setting_days": "10",
            "warming_limit": "100",
            "warming_limit_unit": "F",
            "stick_mark": "1/8",
            "stick_mark_unit": "in",
            "lot_code_pattern": "L{yy}{ddd}-{n}",
            "moisture_limit": "17.8",
            "named_source": "10",
            "key": "set",
        },
    )

    kept = ProductionSettings.current()
    assert (kept.moisture_limit_percent, kept.named_source_percent) == (
        Decimal("17.8"),
        Decimal(10),
    )

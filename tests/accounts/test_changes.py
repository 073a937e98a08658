"""Who changed what: the trail of all that is set up, and the page that shows it."""

from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
import time_machine
from auditlog.context import set_actor
from auditlog.models import LogEntry
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apiary_sales.accounts.queries import Figure
from apiary_sales.accounts.services import people
from apiary_sales.customers.services import customers
from apiary_sales.pricing.queries.prices import price_lists
from apiary_sales.pricing.rules import price_changes
from apiary_sales.pricing.services import filling_times, prices
from inventory.bottling.services import sizes
from inventory.bottling.services.sizes import PartUse
from inventory.shared.models import House
from inventory.stock.models import Place, ProductionSettings, TankShape
from inventory.stock.services import places
from tests import builders

pytestmark = pytest.mark.django_db

CHANGES = reverse("accounts:changes")
NOON = datetime(2026, 8, 14, 12, tzinfo=ZoneInfo("America/Chicago"))


@pytest.fixture
def office():
    return builders.person("office")


@pytest.fixture
def seen(client, owner):
    """Return what the owner reads on the page, the newest first."""
    forget()

    def read(**asked):
        client.force_login(owner)
        return client.get(CHANGES, asked).context["rows"]

    return read


def forget():
    """Empty the trail of what a test only set the scene with."""
    LogEntry.objects.all().delete()


def test_a_raised_credit_limit_is_kept_with_who_when_and_what_it_was(client, office, seen):
    grocery = builders.customer(credit_limit_cents=50_000)
    forget()
    client.force_login(office)

    with time_machine.travel(NOON, tick=False):
        form = client.get(reverse("customers:edit", args=[grocery.pk])).context["form"]
        posted = {name: form[name].value() or "" for name in form.fields}
        answer = client.post(
            reverse("customers:edit", args=[grocery.pk]),
            {**posted, "credit_limit_cents": "1,250"},
        )

    assert answer.status_code == 302
    [change] = seen(kind="customer")
    assert (change.who, change.when, change.act) == (office.display_name, NOON, "changed")
    assert (change.kind, change.name) == ("Customer", "Corner Grocery")
    assert change.figures == (Figure("credit limit", "$500.00", "$1,250.00"),)


def test_choices_days_and_what_was_empty_are_written_as_people_read_them(seen):
    grocery = customers.add(name="Corner Grocery")
    forget()

    customers.change(
        grocery,
        name="Corner Grocery",
        kind="bulk",
        city="Millbrook",
        is_active=False,
    )

    [change] = seen()
    assert change.figures == (
        Figure("kind", "shop", "bulk buyer"),
        Figure("town", "–", "Millbrook"),
        Figure("active", "yes", "no"),
    )


def test_what_is_added_names_only_what_was_filled_in(seen):
    customers.add(name="Corner Grocery", city="Millbrook")

    [change] = seen()
    labels = {figure.label: figure.after for figure in change.figures}
    assert change.act == "added"
    assert (labels["name"], labels["town"]) == ("Corner Grocery", "Millbrook")
    assert "telephone" not in labels


def test_every_price_of_a_change_by_percent_is_in_the_trail(office, seen):
    day = date(2026, 6, 1)
    for name, cents in [("Pint", 900), ("Quart", 1700)]:
        prices.set_piece(
            product=builders.product(name), tier="stand", piece_cents=cents, valid_from=day
        )
    forget()
    asked = {"percent": Decimal(10), "ending": "cent"}
    table = price_changes.changes(price_lists(["stand"], day), **asked)

    with set_actor(office):
        prices.change_by_percent(
            **asked, tiers=["stand"], valid_from=day, seen=price_changes.fingerprint(table)
        )

    rows = seen(person=office.username)
    assert {(row.name, row.act) for row in rows} == {
        ("Pint stand", "added"),
        ("Quart stand", "added"),
    }
    assert {row.figures[-1].after for row in rows} == {"$9.90", "$18.70"}


def test_saving_what_is_there_already_leaves_no_trace(seen):
    jar, lid = builders.part("Jar"), builders.part("Lid", kind="lid")
    pint = sizes.save(
        name="Pint",
        declared_amount=Decimal("1.5"),
        declared_unit="lb",
        brimful_ml=Decimal("500"),
        parts=[PartUse(jar), PartUse(lid)],
    )
    shape = places.Shape(form=TankShape.Form.UPRIGHT, diameter_mm=900, length_mm=1_400)
    tank = places.create(code="T9", name="Tank 9", kind="tank", shape=shape)
    filling_times.set_minutes({pint.standard_product: Decimal("1.5")})
    ProductionSettings(honey_house_celsius=Decimal("32.0")).save()
    forget()

    sizes.save(
        size=pint,
        name="Pint",
        declared_amount=Decimal("1.500"),
        declared_unit="lb",
        brimful_ml=Decimal("500"),
        parts=[PartUse(lid), PartUse(jar)],
    )
    places.change(place=tank, name="Tank 9", shape=shape)
    filling_times.set_minutes({pint.standard_product: Decimal("1.500")})
    ProductionSettings(honey_house_celsius=Decimal("32")).save()

    assert seen() == []


def test_a_lid_taken_from_a_size_and_a_tank_measured_again_are_in_the_trail(seen):
    jar, lid = builders.part("Jar"), builders.part("Lid", kind="lid")
    same = {
        "name": "Pint",
        "declared_amount": Decimal("1.5"),
        "declared_unit": "lb",
        "brimful_ml": Decimal("500"),
    }
    pint = sizes.save(**same, parts=[PartUse(jar), PartUse(lid)])
    form = TankShape.Form.UPRIGHT
    tank = places.create(
        code="T9",
        name="Tank 9",
        kind="tank",
        shape=places.Shape(form=form, diameter_mm=900, length_mm=1_400),
    )
    forget()

    sizes.save(**same, size=pint, parts=[PartUse(jar)])
    places.change(
        place=tank,
        name="Tank 9",
        shape=places.Shape(form=form, diameter_mm=910, length_mm=1_400),
    )

    shape, place, part = seen()
    assert (part.kind, part.act) == ("Part of a size", "removed")
    assert Figure("part", "Lid", "–") in part.figures
    assert (place.name, [figure.label for figure in place.figures]) == (
        "Tank 9",
        ["capacity, litres"],
    )
    assert shape.figures == (Figure("inside diameter, mm", "900", "910"),)


def test_the_places_the_program_makes_for_itself_are_nobodys_change(seen):
    Place.objects.outside(Place.Kind.CUSTOMER)

    assert seen() == []


def test_no_password_is_ever_in_the_trail(office, seen):
    maren = people.add(
        username="maren", name="Maren Holt", role="stand", password="beeswax-and-twine"
    )
    people.change_role(person=maren, role="bottling")
    people.reset_password(person=maren, password="smoker-and-veil")

    kept = [entry.changes for entry in LogEntry.objects.filter(object_repr="maren")]
    assert all("password" not in changes for changes in kept)
    assert Figure("role", "Stand", "Bottling") in [
        figure for change in seen(kind="user") for figure in change.figures
    ]


def test_the_list_narrows_to_a_kind_a_person_and_days(office, seen):
    forget()
    with time_machine.travel(NOON, tick=False), set_actor(office):
        House(name="Larkspur Hill Honey").save()
        builders.customer("Mill")
    with set_actor(builders.person("bottling")):
        builders.customer("Bakery")

    assert [row.name for row in seen(kind="customer")] == ["Bakery", "Mill"]
    assert [row.name for row in seen(person="office", kind="customer")] == ["Mill"]
    assert [row.name for row in seen(first="2026-08-14", last="2026-08-14")] == [
        "Mill",
        "Larkspur Hill Honey",
    ]


def test_days_the_wrong_way_round_are_refused_at_their_field(client, owner):
    client.force_login(owner)

    page = client.get(CHANGES, {"first": "2026-08-14", "last": "2026-08-01"})

    assert page.context["form"].errors == {
        "last": [("The last day is before the first day. Change one of them.")]
    }


def test_an_empty_trail_says_so(client, owner):
    forget()
    client.force_login(owner)

    assert "There are no changes yet." in client.get(CHANGES).text
    assert "No changes match." in client.get(CHANGES, {"kind": "customer"}).text


@pytest.mark.parametrize("role", ["office", "bottling", "stand"])
def test_only_the_owner_reads_the_trail(client, role):
    client.force_login(builders.person(role))

    assert client.get(CHANGES).status_code == 403


def test_a_long_trail_costs_no_more_queries_than_a_short_one(client, owner):
    client.force_login(owner)
    builders.customer("Mill")
    client.get(CHANGES)

    with CaptureQueriesContext(connection) as short:
        client.get(CHANGES)
    for number in range(30):
        builders.customer(f"Shop {number}")
        builders.size(f"Size {number}")
    with CaptureQueriesContext(connection) as long:
        assert len(client.get(CHANGES).context["rows"]) == 50

    assert len(long) == len(short)

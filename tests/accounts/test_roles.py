"""What each role may do, as the house has decided it (common practice of a family business)."""

import pytest
from django.contrib.auth.models import Group, Permission

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people
from tests import builders

pytestmark = pytest.mark.django_db

HONEY = {
    "inventory.move_honey",
    "inventory.write_off",
    "inventory.adjust_stock",
    "inventory.enter_counts",
    "inventory.count_beyond_made",
    "inventory.reverse_posting",
    "inventory.run_bottling",
    "inventory.manage_parts",
    "inventory.manage_places",
    "inventory.manage_suppliers",
    "inventory.release_hold",
}
SELLING = {
    "customers.manage_customers",
    "pricing.manage_prices",
    "orders.take_orders",
    "orders.quote_drums",
    "orders.fulfil_orders",
    "orders.sell_at_stand",
}
MONEY = {
    "billing.issue_invoices",
    "billing.manage_purchases",
    "billing.take_payments",
    "billing.view_money",
}
ALL = HONEY | SELLING | MONEY | {"accounts.manage_people", "billing.manage_accounts"}
EXPECTED = {
    "owner": ALL,
    "bottling": (HONEY - {"inventory.release_hold", "inventory.count_beyond_made"})
    | {"orders.fulfil_orders"},
    "stand": {"orders.sell_at_stand", "inventory.write_off", "inventory.enter_counts"},
    "office": (HONEY - {"inventory.write_off", "inventory.manage_parts", "inventory.manage_places"})
    | SELLING
    | MONEY,
}


@pytest.mark.parametrize("role", EXPECTED)
def test_a_person_may_do_what_the_role_says_and_nothing_else(role):
    person = builders.person(role)

    may = {name for name in ALL if person.has_perm(name)}

    assert may == EXPECTED[role]


def test_every_permission_a_role_names_is_there():
    named = set().union(*roles.ROLE_PERMISSIONS.values())

    known = {
        f"{app_label}.{codename}"
        for app_label, codename in Permission.objects.values_list(
            "content_type__app_label", "codename"
        )
    }

    assert named - known == set()


def test_making_the_groups_twice_changes_nothing():
    before = {group.name: set(group.permissions.all()) for group in Group.objects.all()}

    roles.make_groups()

    assert {group.name: set(group.permissions.all()) for group in Group.objects.all()} == before
    assert set(before) == {"owner", "bottling", "stand", "office"}


def test_a_permission_given_to_a_group_by_hand_is_taken_back():
    stand = Group.objects.get(name="stand")
    stand.permissions.add(Permission.objects.get(codename="view_money"))

    roles.make_groups()

    assert set(stand.permissions.values_list("codename", flat=True)) == {
        "record_cleaning",
        "sell_at_stand",
        "write_off",
        "enter_counts",
    }


@pytest.mark.parametrize("role", ["bottling", "stand", "office"])
def test_only_the_owner_reaches_the_back_office(role):
    person = builders.person(role)
    owner = builders.person("owner")

    assert (person.is_staff, person.is_superuser) == (False, False)
    assert (owner.is_staff, owner.is_superuser) == (True, True)


def test_a_new_role_replaces_the_old_one():
    builders.person("owner")
    person = builders.person("office")

    people.change_role(person=person, role=User.Role.STAND)

    person = User.objects.get(pk=person.pk)
    assert person.role == "stand"
    assert [group.name for group in person.groups.all()] == ["stand"]
    assert person.has_perm("billing.view_money") is False


def test_a_superuser_made_on_the_command_line_is_an_owner():
    person = User.objects.create_superuser("root", password="honeycomb-77")

    assert person.role == "owner"

"""The command that proves the books says so, or names every difference and fails."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inventory.stock.models import Balance, Place
from tests import builders

pytestmark = [pytest.mark.data_layer, pytest.mark.django_db]


@pytest.fixture
def shelf():
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(builders.size("One pound"), shelf, 48, code="L1")
    return shelf


def test_books_that_hold_are_said_to_hold(shelf):
    out = StringIO()

    call_command("verify_ledger", stdout=out)

    assert out.getvalue().startswith(
        "The books are right: 1 postings with 2 lines prove every balance.\nSeal 1 of "
    )


def test_a_difference_is_named_and_the_command_fails(shelf):
    Balance.objects.filter(place=shelf).update(quantity=50, reserved=1)
    told = StringIO()

    with pytest.raises(CommandError, match=r"^2 faults\."):
        call_command("verify_ledger", stdout=StringIO(), stderr=told)

    assert told.getvalue().splitlines() == [
        "One pound of lot L1 at shelf: the lines add up to 48, the balance says 50.",
        "One pound at shelf: orders reserve 0, the balance says 1.",
    ]

"""What lists hold of a customer is told, and no list keeps it after it is erased."""

import pytest

from apiary_sales.customers import personal_queries
from apiary_sales.customers.services import personal_data
from apiary_sales.imports.models import ImportRow
from apiary_sales.imports.services import bringing_in, uploads
from inventory.shared.errors import HouseError
from tests import builders
from tests.imports.lists import uploaded

pytestmark = pytest.mark.django_db


def erase(customer):
    return personal_data.erase(
        customer=customer,
        asked="by telephone on May 3",
        erased_by=builders.person(),
        key=builders.new_key(),
    )


@pytest.mark.parametrize("cell", ["Ada Peña", "ada@lind.example", "0034 555 01 42"])
def test_a_list_that_waits_with_it_is_dropped_before_it_is_erased(cell):
    ada = builders.customer("Ada Peña", email="ada@lind.example", phone="0034 555 01 42")
    begun = uploaded("customers", [["Name", "Note"], ["Somebody", f"see {cell}"]])

    with pytest.raises(HouseError, match="csv has it, and is not brought in"):
        erase(ada)

    uploads.drop(begun=begun)
    erase(ada)
    assert not ImportRow.objects.exists()


def test_a_list_of_others_is_no_reason():
    uploaded("customers", [["Name"], ["Somebody"]])

    assert erase(builders.customer("Ada Peña"))


def test_sales_before_the_books_began_are_told():
    builders.product("One pound")
    ada = builders.customer("Ada Peña")
    rows = [["Date", "Product", "Pieces", "Amount", "Customer"]]
    rows += [["2026-01-05", "One pound", "2", "19.00", "Ada Peña"]] * 2
    begun = uploaded("past-sales", rows)
    bringing_in.bring_in(begun=begun, brought_in_by=builders.person())

    told = [data for data in personal_queries.held_of(ada) if "before" in str(data.title)]

    assert [data.rows for data in told] == [
        [{"sales": "2", "from": "Jan 5, 2026", "to": "Jan 5, 2026", "amount": "$38.00"}]
    ]
    assert told[0].stays

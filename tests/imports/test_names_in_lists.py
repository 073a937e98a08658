"""What a list names is found by its name, and never mistaken for something else."""

import pytest

from apiary_sales.imports.models import PastSale
from apiary_sales.imports.services import bringing_in
from tests import builders
from tests.imports.lists import told, uploaded

pytestmark = pytest.mark.django_db

HEAD = ["Date", "Product", "Pieces", "Amount", "Customer"]
DAY = "2026-01-05"


def sold(*rows: list[str]):
    begun = uploaded("past-sales", [HEAD, *([DAY, *row] for row in rows)])
    wrong = told(begun)
    if begun.rows_good:
        bringing_in.bring_in(begun=begun, brought_in_by=builders.person(), without_bad_rows=True)
    made = PastSale.objects.order_by("row_number")
    return wrong, [(str(sale.product.name), str(sale.customer or "")) for sale in made]


def test_a_decimal_sign_tells_two_products_apart():
    builders.product("1.5 lb jar", "1.5", "lb")
    builders.product("15 lb jar", "15", "lb")
    builders.product("½ lb", "0.5", "lb")
    builders.product("12 lb", "12", "lb")

    wrong, found = sold(
        ["1.5 lb jar", "1", "9", ""],
        ["1,5 LB-JAR", "1", "9", ""],
        ["15 lb jar", "1", "90", ""],
        ["1/2 lb", "1", "5", ""],
        ["12lb", "1", "5", ""],
        ["2.5 lb jar", "1", "5", ""],
    )

    names = ["1.5 lb jar", "1.5 lb jar", "15 lb jar", "½ lb", "12 lb"]
    assert [name for name, _customer in found] == names
    assert list(wrong) == [7]


def test_names_in_other_scripts_are_not_taken_for_each_other():
    builders.goods("Пыльца")

    wrong, found = sold(["пыльца", "5", "50", ""], ["Горох", "5", "50", ""])

    assert found == [("Пыльца", "")]
    assert wrong == {
        3: [
            (
                "product",
                "There is no product “Горох”. Check the name, or bring in the products first.",
            )
        ]
    }


def test_customers_that_differ_by_an_accent_are_told_apart_or_asked_about():
    builders.product("One pound")
    for name in ("Café Zoë", "Café Zoe", "Peña y Ávila"):
        builders.customer(name)

    wrong, found = sold(
        ["One pound", "1", "9", "café zoë"],
        ["One pound", "1", "9", "Café Zoe"],
        ["One pound", "1", "9", "Pena y Avila"],
        ["One pound", "1", "9", "Cafe Zoe"],
    )

    assert [customer for _name, customer in found] == ["Café Zoë", "Café Zoe", "Peña y Ávila"]
    assert [column for column, _sentence in wrong[5]] == ["customer"]
    assert "“Cafe Zoe” may be any of these: Café Zo" in wrong[5][0][1]


def test_rows_are_checked_to_the_last_however_many_are_wrong():
    builders.product("One pound")
    gone = [[DAY, "Jar of old", "1", "5", ""] for _ in range(2_100)]
    last = [[DAY, "Jar of old", "1", "5", ""], [DAY, "One pound", "2", "19", ""]] * 500

    begun = uploaded("past-sales", [HEAD, *gone, *last])
    bringing_in.bring_in(begun=begun, brought_in_by=builders.person(), without_bad_rows=True)

    assert begun.rows_bad == 2_600
    assert PastSale.objects.count() == 500


def test_the_line_of_totals_is_no_customer():
    begun = uploaded("customers", [["Name", "Credit limit"], ["Olmo", "50"], ["Total", "50"]])

    assert told(begun) == {
        3: [
            (
                "name",
                "This looks like the line of totals. Leave it out, or write the name in full.",
            )
        ]
    }

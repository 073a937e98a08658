"""A list is checked whole, counts whole or not at all, and can be undone whole."""

import pytest

from apiary_sales.billing.models import Expense
from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import
from apiary_sales.imports.services import bringing_in, checking, undoing, uploads
from apiary_sales.pricing.models import PiecePrice
from inventory.bottling.models import PackagingPart, Product, Size
from inventory.shared.errors import BadValue, CannotReverse, NotAllowedNow
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.services import honey
from tests import builders
from tests.imports.lists import file_of, told, uploaded

pytestmark = pytest.mark.django_db


def brought_in(begun: Import, **fields) -> Import:
    return bringing_in.bring_in(begun=begun, brought_in_by=builders.person(), **fields)


def undone(made: Import) -> Import:
    return undoing.undo(
        brought_in=made, undone_by=builders.person(), reason="Wrong list", key=builders.new_key()
    )


def test_every_row_is_checked_by_the_rules_of_its_service_and_nothing_is_written():
    builders.customer("Corner Grocery")

    begun = uploaded(
        "customers",
        [
            ["Name", "Price list", "Days to pay"],
            ["Mill Bakery", "shop", "30"],
            ["Corner Grocery", "shop", "30"],
            ["mill bakery", "shop", "9000"],
            ["", "wholesale", "ten"],
        ],
    )

    assert (begun.state, begun.rows_good, begun.rows_bad) == (Import.State.CHECKED, 1, 3)
    found = told(begun)
    assert found[3] == [
        (
            "name",
            "There is a customer called Corner Grocery already. Open that one, or add the town "
            "to this name.",
        )
    ]
    assert [column for column, _sentence in found[4]] == ["name", "terms_days"]
    assert [column for column, _sentence in found[5]] == ["name", "tier", "terms_days"]
    assert list(Customer.objects.values_list("name", flat=True)) == ["Corner Grocery"]


def test_bad_rows_are_left_out_only_where_that_is_said():
    begun = uploaded("customers", [["Name"], ["Mill Bakery"], ["Mill Bakery"]])

    with pytest.raises(BadValue) as refused:
        brought_in(begun)
    assert refused.value.parameter == "without_bad_rows"
    made = brought_in(begun, without_bad_rows=True)

    assert (made.state, made.rows_made) == (Import.State.COMPLETE, 1)
    assert Customer.objects.get().name == "Mill Bakery"


def test_what_was_read_is_not_kept_once_it_is_brought_in():
    made = brought_in(uploaded("customers", [["Name", "E-mail"], ["Mill Bakery", "a@x.example"]]))

    assert [row.cells for row in made.rows.all()] == [[]]


def test_a_row_that_is_no_longer_right_keeps_the_whole_list_out():
    begun = uploaded("customers", [["Name"], ["Mill Bakery"], ["Corner Grocery"]])
    builders.customer("Corner Grocery")

    with pytest.raises(NotAllowedNow, match="Row 3 is not accepted any more"):
        brought_in(begun)

    begun.refresh_from_db()
    assert begun.state == Import.State.CHECKED
    assert begun.message.startswith("Nothing of this list was brought in. Row 3")
    assert list(Customer.objects.values_list("name", flat=True)) == ["Corner Grocery"]


def test_products_come_with_their_size_variety_and_bar_code_and_go_again():
    begun = uploaded(
        "products",
        [
            ["Name", "Size", "Net weight on the label", "Variety", "Barcode"],
            ["One pound", "", "1 lb", "", "4006381333931"],
            ["Buckwheat pound", "One pound", "", "Buckwheat", ""],
        ],
    )
    assert told(begun) == {}

    made = brought_in(begun)

    assert Product.objects.get(name="One pound").gtin == "4006381333931"
    assert str(Product.objects.get(name="Buckwheat pound").size) == "One pound"
    undone(made)
    assert not Product.objects.exists()
    assert not Size.objects.exists()


def test_jars_come_with_their_printed_code_and_are_reversed_by_a_posting():
    jar, shelf = builders.product("One pound"), builders.place("shelf", Place.Kind.SHELF)
    head = ["Product", "Pieces", "Place", "Lot", "Floral source", "Season", "Filled on", "Cost"]
    row = ["One pound", "48", "shelf", "23-114", "clover", "2025", "2025-08-01", "96.00"]

    made = brought_in(uploaded("jars", [head, row]))

    lot = Lot.objects.get(code="23-114")
    assert (lot.product, lot.cost_cents) == (jar, 9_600)
    assert Balance.objects.get(place=shelf).quantity == 48
    undone(made)
    assert not Balance.objects.filter(place=shelf, quantity__gt=0).exists()
    assert Posting.objects.filter(kind=Posting.Kind.REVERSAL).count() == 1


def test_an_import_is_undone_whole_or_not_at_all():
    tank, drum = builders.place("T1"), builders.place("D1", Place.Kind.DRUM)
    head = ["Place", "Weight", "Floral source", "Season", "Extracted on", "Moisture"]
    made = brought_in(
        uploaded(
            "honey",
            [
                head,
                ["T1", "200 kg", "clover", "2026", "2026-07-01", "17.4"],
                ["D1", "100 kg", "clover", "2026", "2026-07-01", "17.4"],
            ],
        )
    )
    honey.transfer(
        source=tank,
        target=builders.place("T2"),
        grams=150_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    with pytest.raises(CannotReverse, match="Row 2 can't be undone: This can't be undone any more"):
        undone(made)

    assert Balance.objects.get(place=drum, quantity__gt=0).quantity == 100_000
    made.refresh_from_db()
    assert made.state == Import.State.COMPLETE


def test_prices_parts_and_expenses_are_brought_in_and_undone():
    builders.product("One pound")
    builders.place("shelf", Place.Kind.SHELF)
    lists = {
        "prices": [
            ["Product", "Price list", "Price", "From"],
            ["One pound", "stand", "8.75", "12"],
            ["One pound", "stand", "9.50", ""],
        ],
        "parts": [
            ["Name", "Kind of part", "Pieces", "Place", "Cost"],
            ["Lid, 70 mm", "lid", "600", "shelf", "54"],
        ],
        "expenses": [
            ["Date", "Paid to", "Category", "Amount", "Paid by"],
            ["2026-03-02", "Valley Fuel", "fuel and truck", "64.20", "transfer"],
        ],
    }

    made = []
    for kind, rows in lists.items():
        begun = uploaded(kind, rows)
        assert told(begun) == {}, kind
        made.append(brought_in(begun))

    assert PiecePrice.objects.count() == 2
    assert Expense.objects.get().amount_cents == 6_420
    for each in made:
        undone(each)
    assert not PiecePrice.objects.exists()
    assert Expense.objects.get().is_undone
    assert not PackagingPart.objects.get().is_active


def test_the_same_file_twice_is_asked_about():
    rows = [["Name"], ["Mill Bakery"]]
    brought_in(uploaded("customers", rows))

    with pytest.raises(BadValue, match="This same file was brought in on") as refused:
        uploaded("customers", rows)

    assert refused.value.parameter == "again"
    assert uploaded("customers", rows, again=True).rows_bad == 1


def test_the_example_row_of_the_template_is_left_out(client):
    client.force_login(builders.person())
    template = client.get("/settings/import/new/customers/template.csv").content
    begun = uploads.upload(
        kind="customers",
        file=file_of([], "t.csv").__class__("t.csv", template + b"Mill Bakery\r\n"),
        decimal_sign=".",
        day_order="mdy",
        uploaded_by=builders.person(),
        key=builders.new_key(),
    )

    assert [row.cells for row in begun.rows.all()] == [["Mill Bakery"]]


def test_a_list_that_is_too_long_or_empty_leaves_nothing_behind():
    long = [["Name"], *([f"Shop {number}"] for number in range(501))]

    with pytest.raises(BadValue, match="This list has more than 500 rows"):
        uploaded("customers", long)
    with pytest.raises(BadValue, match="has headings and no rows"):
        uploaded("customers", [["Name"]])

    assert not Import.objects.exists()


def test_a_list_at_work_is_not_taken_up_twice():
    begun = uploaded("customers", [["Name"], ["Mill Bakery"]])
    Import.objects.filter(pk=begun.pk).update(state=Import.State.WRITING)

    with pytest.raises(NotAllowedNow, match="This list is being brought in now"):
        brought_in(begun)
    with pytest.raises(NotAllowedNow):
        checking.check(begun=begun, checked_by=builders.person())

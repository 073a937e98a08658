"""The index is as the books are after each act, and finds what it should."""

import ast
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from apiary_sales.customers.models import Customer
from apiary_sales.finding import engine, queries
from apiary_sales.finding.models import SearchBuild, SearchEntry
from apiary_sales.finding.services import index
from apiary_sales.orders.models import OrderLine
from inventory.shared import findable
from tests import builders
from tests.billing.buying_room import Room
from tests.billing.conftest import (  # noqa: F401
    house,
    invoice_of,
    jars,
    order_of,
    pay,
    pounds,
    shelf,
    shop,
    stand,
)

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]
BULK = ("bulk_create", "bulk_update", "update")


def found(asked, role="owner", **more):
    return queries.find(asked, user=builders.person(role), **more)


def titles(asked, role="owner"):
    """Return the titles of all things that are found, in the order shown."""
    answer = found(asked, role)
    groups = [group for group in answer.groups if group.kind != "help"]
    grouped = [result for group in groups for result in group.results]
    return [result.title for result in [*answer.exact, *answer.of_amount, *grouped]]


def test_the_letters_are_indexed_on_both_databases():
    assert engine.is_there(connection)


@pytest.mark.parametrize(
    "asked",
    ["corner", "GROCER", "nigo peña", "Inigo Pena", "555 0142", "(612) 555", "@corner", "peña co"],
)
def test_a_customer_is_found_by_any_part_of_name_contact_telephone_or_e_mail(asked):
    builders.customer(
        "Corner Grocery",
        contact="Íñigo Peña",
        phone="(612) 555-0142",
        email="orders@corner.test",
    )
    builders.customer("Prairie Packers", phone="(612) 777-0199")

    assert titles(asked) == ["Corner Grocery"]


def test_what_is_changed_or_deleted_is_found_as_it_is_now():
    customer = builders.customer("Corner Grocery")
    customer.name = "Mill Bakery"
    customer.save()

    assert titles("corner") == []
    assert titles("mill") == ["Mill Bakery"]

    customer.delete()
    assert titles("mill") == []


def test_what_was_not_committed_is_not_found():
    with transaction.atomic():
        builders.customer("Corner Grocery")
        transaction.set_rollback(True)

    assert titles("corner") == []
    assert index.differences() == []


def test_one_or_two_letters_find_what_begins_with_them():
    builders.customer("Corner Grocery", contact="Coral Vance")
    builders.customer("Mill Co")

    assert titles("co") == ["Corner Grocery"]
    assert titles("c") == ["Corner Grocery"]
    assert titles("x") == []


@pytest.mark.parametrize("asked", ["%", "a_b", '"', "' OR 1", "*", "100%", "\\", "()", "😀😀😀"])
def test_signs_that_mean_something_to_a_database_are_signs_like_others(asked):
    builders.customer("Corner Grocery")

    assert titles(asked) == []


def test_money_is_found_by_number_reference_and_amount(shop, pounds):  # noqa: F811
    invoice = invoice_of(shop, jars(pounds, 24))  # 24 × 6.00 = 144.00
    payment = pay(shop, 14_400, reference="10412")

    assert titles("144") == [str(invoice.order), str(invoice), "Check 10412"]
    assert titles("$144.00")[1:] == [str(invoice), "Check 10412"]
    assert titles("10412") == ["Check 10412"]
    assert titles("041") == ["Check 10412"]
    assert titles(str(invoice).lower())[0] == str(invoice)
    assert titles("144.01") == []
    assert found("10412").exact[0].cents == payment.amount_cents
    assert index.differences() == []


def test_what_bears_exactly_what_was_typed_comes_first(shelf):  # noqa: F811
    product = builders.product("One pound")
    for code in ("L26-1", "L26-10", "L26-11"):
        builders.packed_lot(product, shelf, code=code)

    answer = found("l26-1")

    assert [result.title for result in answer.exact] == ["L26-1"]
    assert [result.title for result in answer.groups[0].results] == ["L26-11", "L26-10"]


def test_a_product_is_found_by_its_gtin_with_or_without_leading_zeros():
    product = builders.goods("Candle", gtin="09501101530003")

    assert titles("9501101530003") == titles("09501101530003") == [product.name]


def test_a_quote_is_found_by_what_it_comes_to_now(shop, pounds):  # noqa: F811
    order = order_of(shop, jars(pounds, 10, "6.10"), fill=False)
    assert titles("61.00") == [str(order)]

    line = OrderLine.objects.get(order=order)
    line.quantity, line.amount_cents = 20, 12_200
    line.save()

    assert titles("61.00") == []
    assert titles("122") == [str(order)]
    assert index.differences() == []


def test_what_suppliers_bill_and_what_was_spent_is_found():
    room = Room()
    bill = room.bill(number="M-7741")

    assert titles("m-7741") == [str(bill)]
    assert titles("meadow glass") == ["Meadow Glass"]
    assert index.differences() == []


def test_rows_written_in_bulk_are_found_when_the_service_says_so():
    rows = Customer.objects.bulk_create([Customer(name="Corner Grocery"), Customer(name="Mill")])
    assert titles("corner") == []

    findable.written(rows)

    assert titles("corner") == ["Corner Grocery"]


def test_the_command_finds_and_mends_what_is_wrong(capsys):
    builders.customer("Corner Grocery")
    gone = builders.customer("Mill Bakery")
    Customer.objects.filter(name="Corner Grocery").update(name="Corner Store")
    SearchEntry.objects.filter(text="mill bakery").delete()
    Customer.objects.filter(pk=gone.pk)._raw_delete("default")
    SearchEntry.objects.create(id=1, kind=0, text="nothing")

    with pytest.raises(CommandError, match="2 entries are wrong"):
        call_command("rebuild_search", check=True)
    call_command("rebuild_search")
    call_command("rebuild_search", check=True)

    assert titles("store") == ["Corner Store"]
    assert capsys.readouterr().out.splitlines()[-1] == "Everything can be found as it is."


def test_an_index_that_was_left_half_made_is_made_by_the_next_migrate():
    builders.customer("Corner Grocery")
    SearchEntry.objects.all().delete()
    SearchBuild.objects.update(is_whole=False)

    index.bring_up_to_date()

    assert titles("corner") == ["Corner Grocery"]
    assert SearchBuild.objects.get().is_whole


def test_batches_end_where_the_next_begins(monkeypatch):
    monkeypatch.setattr(index, "BATCH", 2)
    for number in range(5):
        builders.customer(f"Corner {number}")
    SearchEntry.objects.all().delete()

    index.rebuild()

    assert index.differences() == []
    assert len(titles("corner")) == 5


def test_finding_asks_the_database_as_often_for_many_as_for_few(
    django_assert_max_num_queries,
):
    user = builders.person()
    user.get_all_permissions()
    for number in range(12):
        builders.customer(f"Corner {number}", phone="555-0142")

    with django_assert_max_num_queries(6):
        answer = queries.find("corner", user=user)

    assert [len(group.results) for group in answer.groups] == [10]
    assert answer.has_more


def bulk_writes(source: str) -> set[str]:
    """Return "Model.what" for each write of a source that no signal of Django tells."""
    written = set()
    tree = ast.parse(source)
    stands_for = names_behind(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and names_in(node.func) == {"PreparedUpdate"}:
            fields = {word.arg for word in node.keywords}
            written |= {f"{name}.{field}" for name in names_in(node) for field in fields}
        is_call = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        if not is_call or node.func.attr not in BULK:
            continue
        inner = names_in(node.func)
        inner |= {name for short in inner for name in stands_for.get(short, ())}
        fields = {word.arg for word in node.keywords}
        if node.func.attr == "bulk_update" and isinstance(node.args[-1], ast.List):
            fields = {element.value for element in node.args[1].elts}
        for name in inner:
            written |= {f"{name}.{field}" for field in fields or {"*"}}
            if node.func.attr == "bulk_create":
                written.add(f"{name}.*")
    return written


def names_in(node: ast.AST) -> set[str]:
    return {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}


def names_behind(tree: ast.AST) -> dict[str, set[str]]:
    """Return which names a variable was given its value by: a query set, or a model of several."""
    behind: dict[str, set[str]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.For):
            given, value = [node.target], node.iter
        elif isinstance(node, ast.Assign):
            given, value = node.targets, node.value
        else:
            continue
        for target in given:
            for name in names_in(target):
                behind.setdefault(name, set()).update(names_in(value))
    for names in behind.values():
        names |= {further for name in names for further in behind.get(name, ())}
    return behind


def test_no_service_writes_in_bulk_what_things_are_found_by_without_saying_so():
    read = {}
    for kind in findable.kinds():
        read.setdefault(kind.model_class.__name__, set()).update(kind.fields)
        for owned in kind.owned:
            read.setdefault(owned.model_class.__name__, set()).update(owned.fields)
    silent = []
    paths = [*ROOT.glob("inventory/*/services/*.py"), *ROOT.glob("apiary_sales/*/services/*.py")]
    for path in paths:
        source = path.read_text()
        if not any(word in source for word in BULK):
            continue
        for write in bulk_writes(source):
            model, field = write.split(".")
            counts = model in read and (field == "*" or field in read[model])
            if counts and "findable.written(" not in source:
                silent.append(f"{path.relative_to(ROOT)}: {write}")

    assert silent == []


def test_a_bulk_write_is_noticed():
    source = """
Customer.objects.bulk_create(rows)
Lot.objects.filter(pk=1).update(code="x")
Lot.objects.bulk_update(lots, ["is_on_hold"])
PreparedUpdate(lambda: Place.objects.filter(pk=1), name=Given("name", CharField()))
for model in (Order, Contract):
    rows = model.objects.filter(pk=1)
    rows.update(number="x")
"""

    noticed = {"Customer.*", "Lot.code", "Lot.is_on_hold", "Place.name", "Order.number"}
    assert noticed <= bulk_writes(source)
    assert "Lot.kind" not in bulk_writes(source)

"""Programs follow lists by `changed_at`, which the database itself notes."""

from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qsl, urlsplit

import pytest
from django.apps import apps
from django.db import connection
from django.utils import timezone

from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from apiary_sales.keeping import following, triggers
from apiary_sales.keeping.models import RowChange
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Item
from tests import builders

pytestmark = pytest.mark.django_db

LONG_AGO = datetime(2001, 1, 1, tzinfo=UTC)
LISTS = (
    "bulk-prices/history",
    "customers",
    "expenses",
    "invoices",
    "lots",
    "orders",
    "parts",
    "payments",
    "places",
    "products",
    "purchase-orders",
    "runs",
    "sizes",
    "supplier-bills",
    "weight-prices/history",
)


@pytest.fixture
def read(client):
    headers = {"Authorization": builders.authorization("owner")}
    return lambda path, **query: client.get(f"/api/v1/{path}/", query, headers=headers)


def forget():
    """Set back what was noted, as if all was written long ago."""
    RowChange.objects.update(changed_at=LONG_AGO)


def changed(kind):
    """Return the keys of rows of a kind that were changed since `forget`."""
    noted = RowChange.objects.filter(kind=kind, changed_at__gt=LONG_AGO)
    return set(noted.values_list("row_id", flat=True))


def test_what_was_changed_since_a_moment_is_found_with_its_moment(read):
    grocery, other = builders.customer(), builders.customer("Alder Shop")
    forget()
    before = timezone.now() - timedelta(seconds=1)
    customers.change(grocery, phone="222")

    [row] = read("customers", changed_since=before.isoformat()).json()["results"]

    assert row["id"] == grocery.pk
    at = datetime.fromisoformat(row["changed_at"])
    assert before <= at <= timezone.now() + timedelta(seconds=1)
    assert read(f"customers/{grocery.pk}").json()["changed_at"] == row["changed_at"]
    other_at = read(f"customers/{other.pk}").json()["changed_at"]
    assert datetime.fromisoformat(other_at) == LONG_AGO


@pytest.mark.parametrize("path", LISTS)
def test_every_list_that_is_followed_takes_the_moment_and_the_order(read, path):
    # The parts are one reading, in an order of its own.
    order = {} if path == "parts" else {"ordering": "-changed_at"}
    answer = read(path, changed_since="2026-07-20T14:30:00+02:00", **order)

    assert answer.status_code == 200, answer.json()


@pytest.mark.parametrize(
    "moment",
    [
        "2026-07-20T14:30:00",
        "2026-07-20",
        "yesterday",
        "2026-13-01T00:00:00Z",
        "0001-01-01T00:00+14:00",
    ],
)
def test_a_moment_that_could_be_several_is_refused(read, moment):
    answer = read("customers", changed_since=moment)

    assert answer.status_code == 400
    assert [each["field"] for each in answer.json()["errors"]] == ["changed_since"]


def test_rows_from_before_have_no_moment_and_come_last_by_it(read):
    first, second = builders.customer(), builders.customer("Alder Shop")
    RowChange.objects.filter(row_id=first.pk).delete()

    rows = read("customers", ordering="-changed_at").json()["results"]
    later = read("customers", changed_since=LONG_AGO.isoformat()).json()["results"]

    assert [(row["id"], row["changed_at"] is None) for row in rows] == [
        (second.pk, False),
        (first.pk, True),
    ]
    assert [row["id"] for row in later] == [second.pk]


def test_pages_by_the_moment_bring_each_row_once(read):
    made = [builders.customer(f"Shop {number}").pk for number in range(5)]
    RowChange.objects.filter(row_id=made[0]).delete()
    first = read("customers", ordering="changed_at", page_size=2).json()
    seen = [row["id"] for row in first["results"]]
    address = first["next"]
    while address:
        page = read("customers", **dict(parse_qsl(urlsplit(address).query))).json()
        seen += [row["id"] for row in page["results"]]
        address = page["next"]

    assert seen == made


def test_of_several_notes_of_a_row_the_latest_counts(read):
    customer = builders.customer()
    RowChange.objects.all().delete()
    latest = datetime(2026, 3, 1, 12, tzinfo=UTC)
    for at in (latest, datetime(2026, 2, 1, tzinfo=UTC)):
        RowChange.objects.create(kind="customers.customer", row_id=customer.pk, changed_at=at)

    [listed] = read("customers", changed_since="2026-03-01T12:00:00Z").json()["results"]
    alone = read(f"customers/{customer.pk}").json()

    assert [datetime.fromisoformat(row["changed_at"]) for row in (listed, alone)] == [latest] * 2
    assert read("customers", changed_since="2026-03-01T12:00:01Z").json()["results"] == []


@pytest.mark.parametrize("ordering", ["changed_at", "-changed_at"])
def test_pages_of_one_row_by_the_moment_as_the_database_noted_it(read, ordering):
    made = {builders.customer(f"Shop {each}").pk for each in range(3)}

    shown, page = [], read("customers", ordering=ordering, page_size=1)
    while len(shown) < 9:
        shown += [row["id"] for row in page.json()["results"]]
        if not page.json()["next"]:
            break
        query = parse_qsl(urlsplit(page.json()["next"]).query)
        page = read("customers", **dict(query))

    assert len(shown) == 3
    assert set(shown) == made


def test_any_writer_is_noted_and_a_write_that_changes_nothing_is_not():
    grocery = builders.customer()
    forget()

    Customer.objects.filter(pk=grocery.pk).update(phone=grocery.phone)
    assert changed("customers.customer") == set()

    with connection.cursor() as cursor:
        cursor.execute("UPDATE customers_customer SET phone = '999'")
    assert changed("customers.customer") == {grocery.pk}


def test_what_belongs_to_a_row_changes_it():
    grocery, product = builders.customer(), builders.product()
    order = Order.objects.create(
        number="S-1", customer=grocery, channel=Order.Channel.SHOP, placed_on=builders.today(),
        valid_until=builders.today(), created_by=builders.person("office"),
    )  # fmt: skip
    line = OrderLine(
        order=order, kind="packed", product=product, quantity=1, unit_price=1, amount_cents=100
    )
    for write, kind, key in (
        (lambda: line.save(), "orders.order", order.pk),
        (lambda: line.delete(), "orders.order", order.pk),
        (lambda: builders.certificate(grocery), "customers.customer", grocery.pk),
        (lambda: Item.objects.filter(pk=product.item_id).update(name="X"), "inventory.product",
         product.pk),
        (lambda: PiecePrice.objects.create(
            product=product, tier="stand", min_pieces=1, piece_cents=900,
            valid_from=builders.today()), "inventory.product", product.pk),
    ):  # fmt: skip
        forget()
        write()
        assert changed(kind) == {key}


def test_of_two_it_belonged_to_both_are_changed():
    first, second = builders.customer(), builders.customer("Alder Shop")
    certificate = builders.certificate(first)
    forget()

    type(certificate).objects.filter(pk=certificate.pk).update(customer=second)

    assert changed("customers.customer") == {first.pk, second.pk}


def test_a_trigger_that_somebody_dropped_is_told_and_made_again():
    name, table = "books_follow_customers_customer_changed", "customers_customer"
    on = f" ON {table}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")

    [fault] = triggers.faults()
    triggers.make("default")

    assert fault.startswith("The database does not note when rows of customers_customer change:")
    assert list(triggers.faults()) == []


@pytest.mark.postgresql
def test_a_function_that_notes_nothing_any_more_is_told():
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE OR REPLACE FUNCTION books_follow_customers_customer() RETURNS trigger "
            "LANGUAGE plpgsql AS 'BEGIN RETURN NULL; END'"
        )

    assert len(list(triggers.faults())) == 1


def test_what_is_followed_names_tables_and_columns_that_there_are():
    for label, parts in following.FOLLOWED.items():
        for part in parts:
            asked = part.label if part.column else label
            columns = {field.column for field in apps.get_model(asked)._meta.concrete_fields}
            assert (part.column or part.points_here) in columns

"""The database itself refuses to change the books, whoever asks it."""

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction

from apiary_sales.billing.models import Entry, EntryLine, Invoice
from apiary_sales.billing.services import payments
from apiary_sales.customers.services import personal_data
from apiary_sales.keeping import triggers
from apiary_sales.keeping.append_only import KEPT, KeptTable
from inventory.stock.models import Posting
from inventory.stock.models.ledger import AppendOnlyModel
from inventory.stock.services import seals
from tests.billing.conftest import pay
from tests.keeping.small_books import write_books

pytestmark = pytest.mark.django_db

BOOKS = [
    ("inventory_posting", "note", "'another'"),
    ("inventory_postingline", "quantity", "7"),
    ("billing_entry", "entered_on", "'2020-01-01'"),
    ("billing_entryline", "amount_cents", "7"),
    ("billing_invoice", "number", "77"),
    ("billing_invoice", "issued_on", "'2020-01-01'"),
    ("billing_invoice", "customer_id", "NULL"),
    ("billing_invoice", "buyer", "'{}'"),
    ("billing_invoice", "note", "'another'"),
    ("billing_invoice", "total_cents", "7"),
    ("billing_invoiceline", "description", "'another'"),
    ("billing_invoicelinetax", "tax_cents", "7"),
    ("billing_payment", "amount_cents", "7"),
    ("billing_allocation", "amount_cents", "7"),
]


@pytest.fixture
def books(db):
    return write_books()


def said(statement):
    """Return what the database says to a statement that it refuses; it must change nothing."""
    with pytest.raises(IntegrityError) as refused, transaction.atomic():
        connection.cursor().execute(statement)
    return str(refused.value)


@pytest.mark.parametrize(("table", "column", "value"), BOOKS)
def test_no_row_of_the_books_is_changed(books, table, column, value):
    assert f"Rows of {table} are never changed" in said(f"UPDATE {table} SET {column} = {value}")


@pytest.mark.parametrize("table", sorted({table for table, *_rest in BOOKS}))
def test_no_row_of_the_books_is_deleted(books, table):
    assert f"Rows of {table} are never deleted" in said(f"DELETE FROM {table}")


@pytest.mark.parametrize("kept", KEPT, ids=lambda kept: kept.label)
def test_every_table_of_the_laws_has_its_triggers(kept):
    """Named by hand: what a table of a new model needs is one line in the laws."""
    expected = {"changed", "deleted"}
    expected |= {"entered"} if connection.vendor == "sqlite" else {"emptied"}
    if kept.sealed_by:
        expected.add("entered")

    found = triggers._found(connection)

    prefix = f"books_{kept.name}_"
    assert {name.removeprefix(prefix) for name in found if name.startswith(prefix)} == expected


def test_whatever_the_models_keep_the_database_keeps():
    in_python = {
        model._meta.label for model in apps.get_models() if issubclass(model, AppendOnlyModel)
    }

    assert in_python - {kept.label for kept in KEPT} == set()


def test_what_may_change_is_a_column_that_there_is():
    for kept in KEPT:
        columns = {field.column for field in kept.model._meta.concrete_fields}
        assert kept.may_change.keys() - columns == set(), kept.label


def test_a_row_does_not_come_back_under_an_old_number(books):
    columns = "kind, happened_on, entered_on, entered_at, invoice_id"
    values = f"kind, happened_on, entered_on, entered_at, {books.pk} FROM billing_entry"
    with triggers.lifted():
        EntryLine.objects.filter(entry=books.entry)._raw_delete("default")
        Entry.objects.filter(pk=books.entry.pk)._raw_delete("default")
    seals.make()

    assert "comes after those that are there" in said(
        f"INSERT INTO billing_entry (id, {columns}) SELECT {books.entry.pk}, {values}"
    )


def test_a_line_does_not_come_to_a_posting_that_was_sealed(books):
    seals.make()

    assert "comes after those that are there" in said(
        "INSERT INTO inventory_postingline (posting_id, item_id, place_id, lot_id, quantity) "
        "SELECT posting_id, item_id, place_id, lot_id, quantity FROM inventory_postingline"
    )


@pytest.mark.skipif("connection.vendor != 'sqlite'")
def test_replacing_a_row_is_refused_too(books):
    last = Posting.objects.latest("pk").pk

    assert "comes after those that are there" in said(
        f"INSERT OR REPLACE INTO inventory_posting SELECT * FROM inventory_posting WHERE id={last}"
    )


@pytest.mark.postgresql
def test_emptying_a_table_is_refused_too(db):
    assert "never deleted" in said("TRUNCATE billing_entryline")


def test_a_trigger_that_somebody_dropped_is_named_and_made_again(books):
    drop("books_billing_entryline_changed", "billing_entryline")

    [fault] = triggers.faults()
    triggers.make("default")

    assert fault.startswith("The database does not refuse changes of billing_entryline:")
    assert "manage.py migrate" in fault
    assert list(triggers.faults()) == []
    assert "never changed" in said("UPDATE billing_entryline SET amount_cents = 7")


def test_a_trigger_that_was_made_harmless_is_named(books):
    name, table = "books_billing_entryline_changed", "billing_entryline"
    body = "BEGIN SELECT 1; END"
    if connection.vendor == "postgresql":
        body = "FOR EACH ROW WHEN (false) EXECUTE FUNCTION books_refuse('no')"
    drop(name, table)
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} {body}")

    assert len(list(triggers.faults())) == 1


@pytest.mark.postgresql
def test_a_function_that_refuses_nothing_any_more_is_named(books):
    connection.cursor().execute(
        "CREATE OR REPLACE FUNCTION books_refuse() RETURNS trigger LANGUAGE plpgsql "
        "AS 'BEGIN RETURN NEW; END'"
    )

    assert len(list(triggers.faults())) == len(KEPT)


def test_other_laws_replace_the_triggers(books, monkeypatch):
    freer = tuple(
        KeptTable(kept.label, {"note": "A test says so."}) if kept.label == "billing.Invoice"
        else kept for kept in KEPT if kept.label != "billing.InvoiceLine"
    )  # fmt: skip
    monkeypatch.setattr(triggers, "KEPT", freer)
    triggers.lift("default")

    triggers.make("default")
    connection.cursor().execute("UPDATE billing_invoice SET note = 'changed'")
    connection.cursor().execute("UPDATE billing_invoiceline SET description = 'changed'")

    assert "never changed" in said("UPDATE billing_invoice SET total_cents = 7")


def test_lifted_triggers_are_back_after_the_block_and_after_its_failure(books):
    with triggers.lifted():
        connection.cursor().execute("UPDATE inventory_postingline SET quantity = quantity")
    with pytest.raises(ZeroDivisionError), triggers.lifted():
        1 / 0  # noqa: B018

    assert list(triggers.faults()) == []
    assert "never changed" in said("UPDATE inventory_postingline SET quantity = 7")


def test_what_services_change_still_changes(books, owner, key):
    payment = books.allocations.get().payment

    payments.reverse(payment=payment, reversed_by=owner, key=key(), reason="Bounced")

    assert Invoice.objects.get().open_cents == books.total_cents == 6_375


def test_a_customer_is_erased_and_the_bills_keep_what_they_say(books, owner, key):
    pay(books.customer, books.total_cents - 2_000)

    personal_data.erase(customer=books.customer, asked="By letter", erased_by=owner, key=key())

    invoice = Invoice.objects.select_related("customer").get()
    assert invoice.customer.name.startswith("Erased customer")
    assert invoice.buyer["name"] == "Corner Grocery"


def drop(name, table):
    """Drop a trigger, as somebody with the database in hand can."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"DROP TRIGGER {name}")
        else:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"DROP TRIGGER {name} ON {table}")

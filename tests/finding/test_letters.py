"""The index of letters: what it keeps, and what is found where it can't be made."""

from dataclasses import replace

import pytest
from django.core.management import call_command
from django.db import connection

from apiary_sales.customers.services import personal_data
from apiary_sales.finding import engine, queries
from apiary_sales.finding.models import SearchEntry
from apiary_sales.finding.services import index
from apiary_sales.orders.models import Order
from apiary_sales.orders.services import personal_data as data_in_orders
from inventory.shared import findable
from inventory.shared.findable import SearchWords
from tests import builders
from tests.billing.conftest import house, jars, order_of, pounds, shelf, shop, stand  # noqa: F401

# Nothing else is written with it, so that it is never left out for being as in the part before.
LETTER = "\N{GOTHIC LETTER HWAIR}"


def titles(asked):
    """Return the titles of all things that are found, in the order shown."""
    answer = queries.find(asked, user=builders.person())
    groups = [group for group in answer.groups if group.kind != "help"]
    return [result.title for group in groups for result in group.results]


def take_letters_away():
    with connection.cursor() as cursor:
        for statement in engine.without_letters(connection):
            cursor.execute(statement)


@pytest.fixture
def no_letters(monkeypatch):
    """Let the index of letters be impossible, as without FTS5 or the right to add pg_trgm."""
    monkeypatch.setattr(engine, "SQLITE", ["CREATE VIRTUAL TABLE letters USING nothing (text)"])
    monkeypatch.setattr(engine, "_postgresql", lambda: ["CREATE EXTENSION nothing_of_the_kind"])
    take_letters_away()


@pytest.mark.django_db
def test_without_an_index_of_letters_the_same_is_found_and_the_command_says_so(no_letters, capsys):
    for name in ("Corner Grocery", "Corner % Bakery", "Mill Bakery"):
        builders.customer(name, phone="(612) 555-0142")

    call_command("rebuild_search")

    assert not engine.is_there(connection)
    assert "Parts of words are found slowly." in capsys.readouterr().err
    assert titles("orne") == ["Corner % Bakery", "Corner Grocery"]
    assert titles("bakery corner") == ["Corner % Bakery"]
    assert titles("612 555 01") == ["Mill Bakery", "Corner % Bakery", "Corner Grocery"]
    assert titles("ner %") == ["Corner % Bakery"]
    assert index.differences() == []


@pytest.mark.django_db
@pytest.mark.parametrize("read_for_one", [0, 1, 2, 25])
def test_the_newest_are_found_however_many_are_read_before_the_index(monkeypatch, read_for_one):
    monkeypatch.setattr(engine, "READ_FOR_ONE", read_for_one)
    for number in range(4):
        builders.customer(f"Corner {number}", phone=f"(612) 555-014{number}")
        builders.customer(f"Mill {number}")
    builders.supplier("Corner Glass", "parts")

    assert newest_two("corner") == ["corner 3", "corner 2", "corner glass"]
    assert newest_two("612 555 01") == ["corner 3", "corner 2"]
    assert newest_two("orner 3") == ["corner 3"]
    assert newest_two("xylophone") == []


def newest_two(asked):
    """Return the names of the newest two of each kind."""
    wanted = [engine.KindWanted(kind.number, 2) for kind in findable.kinds()]
    keys = engine.parts(connection, queries.read(asked), wanted)
    return [SearchEntry.objects.get(pk=key).code for key in keys]


@pytest.mark.django_db(transaction=True)
def test_of_an_erased_customer_nothing_is_left_in_the_index():
    customer = builders.customer("Qxzjqw", contact=f"Vqzxwk {LETTER * 4}")
    builders.customer("Corner Grocery")
    assert titles("qxzj") == ["Qxzjqw"]
    if connection.vendor == "sqlite":
        assert LETTER.encode() in letters_kept()

    personal_data.erase(
        customer=customer,
        asked="By letter",
        erased_by=builders.person("owner"),
        key=builders.new_key(),
    )

    assert titles("qxzj") == titles("vqzx") == titles("jqw") == []
    assert titles("corner") == ["Corner Grocery"]
    assert not SearchEntry.objects.filter(text__contains="qxz").exists()
    assert not SearchEntry.objects.filter(text__contains=LETTER).exists()
    if connection.vendor == "sqlite":
        assert LETTER.encode() not in letters_kept()
        connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        whole_file = connection.connection.serialize().lower()
        assert b"corner grocery" in whole_file
        assert not any(word in whole_file for word in (b"qxzjqw", b"vqzxwk", LETTER.encode()))


def letters_kept() -> bytes:
    """Return all that FTS5 has written, whether it counts or not."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT block FROM {engine.TEXT_TABLE}_data")
        return b"\n".join(bytes(block) for (block,) in cursor.fetchall())


@pytest.mark.django_db
def test_notes_of_orders_that_are_erased_are_written_to_the_index(request, shop, pounds):  # noqa: F811
    [kind] = findable.kinds_of(Order)
    by_note = replace(
        kind,
        fields=(*kind.fields, "note"),
        reads=lambda order: SearchWords(codes=(order.number,), words=(order.note,)),
    )
    request.addfinalizer(lambda: findable.register(kind))
    findable.register(by_note)
    order = order_of(shop, jars(pounds, 1), fill=False, note="Ring at the mill")
    assert titles("the mill") == [str(order)]

    data_in_orders.erase(shop)

    assert titles("the mill") == []
    assert index.differences() == []

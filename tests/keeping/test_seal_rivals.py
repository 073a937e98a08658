"""Sealing beside people who write, on a real PostgreSQL: nobody waits, and no row is left out."""

from contextlib import closing, contextmanager

import pytest
from django.db import connection, connections

from inventory.stock.models import Posting, Seal
from inventory.stock.queries import seals as found
from inventory.stock.services import seals
from tests import builders
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

ENTER = """INSERT INTO inventory_posting
    (kind, occurred_at, recorded_at, recorded_by_id, note, idempotency_key, took_all)
    SELECT kind, occurred_at, recorded_at, recorded_by_id, note, %s, took_all
    FROM inventory_posting ORDER BY id LIMIT 1 RETURNING id"""


@contextmanager
def held():
    """Yield the number of a posting that somebody writes until the end of the block."""
    with closing(connections.create_connection("default")) as other:
        other.set_autocommit(False)
        with other.cursor() as cursor:
            cursor.execute(ENTER, [builders.new_key()])
            [number] = cursor.fetchone()
        yield number
        other.commit()


def enter():
    """Enter a posting at once, and return its number."""
    with connection.cursor() as cursor:
        cursor.execute(ENTER, [builders.new_key()])
        return cursor.fetchone()[0]


@pytest.fixture
def begun():
    """Books with one posting, which is sealed."""
    builders.lot_in(builders.place("tank"))
    assert seals.make() == 1


def test_what_is_committed_late_under_a_lower_number_is_sealed_with_the_rest(begun):
    with held() as late:
        early = enter()
        assert late < early
        assert seals.make(wait_seconds=0) == 0

    assert seals.make() == 1
    last = Seal.objects.newest()
    assert last.last["posting"] == early
    assert (last.covered, list(found.faults())) == (Posting.objects.count(), [])


def test_who_began_to_write_later_is_not_waited_for(begun, monkeypatch):
    before = enter()
    looked = iter([{"7/1"}, {"8/2"}])
    monkeypatch.setattr(seals, "_writers", lambda: next(looked))

    assert seals.make(wait_seconds=10) == 1
    assert Seal.objects.newest().last["posting"] == before


def test_two_machines_that_seal_at_once_make_one_chain(begun):
    for _number in range(5):
        enter()

    together(seals.make, seals.make, seals.make)

    assert list(found.faults()) == []
    assert Seal.objects.newest().covered == Posting.objects.count()

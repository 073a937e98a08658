"""On SQLite, the threads of a process write in the order in which they asked to."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager

import pytest
from django.conf import settings
from django.db import OperationalError, connections

from inventory.shared.fair_sqlite import turns
from inventory.shared.fair_sqlite.base import DatabaseWrapper

WAIT_SECONDS = 30


@pytest.fixture
def file(tmp_path, django_db_blocker):
    """A database of the test's own, with one table."""
    name = str(tmp_path / "fair.sqlite3")
    with django_db_blocker.unblock():
        with connected(name) as house:
            execute(house, "CREATE TABLE written (name TEXT)")
        yield name


@contextmanager
def connected(name, turn_seconds=WAIT_SECONDS):
    usual = {**connections.settings["default"], "NAME": name, "OPTIONS": settings.SQLITE_OPTIONS}
    connection = DatabaseWrapper(usual, alias="fair")
    connection.turn_seconds = turn_seconds
    with closing(connection):
        yield connection


def execute(connection, statement):
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return [row[0] for row in cursor.fetchall()] if cursor.description else []


def begin(connection):
    connection.set_autocommit(False, force_begin_transaction_with_broken_autocommit=True)


def write(name, text, *, in_transaction=False, turn_seconds=WAIT_SECONDS):
    with connected(name, turn_seconds) as connection:
        if in_transaction:
            begin(connection)
        execute(connection, f"INSERT INTO written VALUES ('{text}')")
        if in_transaction:
            connection.commit()


def written(name):
    with connected(name) as connection:
        return execute(connection, "SELECT name FROM written ORDER BY rowid")


def wait_until(found):
    end = time.monotonic() + WAIT_SECONDS
    while not found():
        assert time.monotonic() < end
        time.sleep(0.001)


def test_who_asked_first_writes_first_in_a_transaction_or_not(file):
    queue = turns.of(file)
    with ThreadPoolExecutor(6) as people, connected(file) as first:
        begin(first)
        acts = []
        for number in range(6):
            odd = bool(number % 2)
            acts.append(people.submit(write, file, f"{number}", in_transaction=odd))
            wait_until(lambda: queue.count_waiting() == len(acts))
        execute(first, "INSERT INTO written VALUES ('first')")
        first.commit()
        for act in acts:
            act.result(WAIT_SECONDS)

    assert written(file) == ["first", "0", "1", "2", "3", "4", "5"]


def test_nobody_waits_to_read(file):
    with connected(file) as writer:
        begin(writer)
        execute(writer, "INSERT INTO written VALUES ('not yet')")
        with ThreadPoolExecutor(1) as people:
            assert people.submit(written, file).result(WAIT_SECONDS) == []


@pytest.mark.parametrize("in_transaction", [True, False])
def test_whose_turn_does_not_come_is_told_that_the_database_is_locked(file, in_transaction):
    with connected(file) as writer, ThreadPoolExecutor(1) as people:
        begin(writer)
        late = people.submit(write, file, "late", in_transaction=in_transaction, turn_seconds=0.01)
        with pytest.raises(OperationalError, match="database is locked"):
            late.result(WAIT_SECONDS)
        writer.rollback()
        people.submit(write, file, "next").result(WAIT_SECONDS)

    assert written(file) == ["next"]
    assert turns.of(file).count_waiting() == 0


@pytest.mark.parametrize("end", ["rollback", "close", "commit"])
def test_a_turn_ends_with_its_transaction_whatever_way_that_ends(file, end):
    with connected(file) as writer:
        begin(writer)
        getattr(writer, end)()
        # Not the thread of the writer, which has no turn to wait for.
        with ThreadPoolExecutor(1) as people:
            people.submit(write, file, "next", turn_seconds=0.01).result(WAIT_SECONDS)

    assert written(file) == ["next"]


def test_a_statement_that_fails_ends_its_turn(file):
    with connected(file) as writer, pytest.raises(OperationalError, match="no such table"):
        execute(writer, "INSERT INTO elsewhere VALUES (1)")

    write(file, "next", turn_seconds=0.01)
    assert written(file) == ["next"]


def test_turns_come_in_order_and_not_after_who_waited_for_one_has_gone():
    queue, order = turns.WritingTurns(), []
    assert queue.take(0)
    assert not queue.take(0)

    def wait(number):
        assert queue.take(WAIT_SECONDS)
        order.append(number)
        queue.give_back()

    threads = []
    for number in range(3):
        threads.append(threading.Thread(target=wait, args=[number]))
        threads[-1].start()
        wait_until(lambda: queue.count_waiting() == len(threads))
    queue.give_back()
    for thread in threads:
        thread.join(WAIT_SECONDS)

    assert order == [0, 1, 2]
    assert queue.take(0)


def test_a_connection_that_is_kept_does_not_write_into_a_file_that_was_replaced(file, tmp_path):
    with connected(file) as kept:
        execute(kept, "INSERT INTO written VALUES ('old')")
        (tmp_path / "fair.sqlite3").rename(tmp_path / "away.sqlite3")
        with connected(file) as other:
            execute(other, "CREATE TABLE written (name TEXT)")
            execute(other, "INSERT INTO written VALUES ('new')")

        kept.close_if_unusable_or_obsolete()
        execute(kept, "INSERT INTO written VALUES ('later')")

    assert written(file) == ["new", "later"]


def test_a_connection_that_is_kept_is_not_opened_anew(file):
    with connected(file) as kept:
        execute(kept, "CREATE TEMPORARY TABLE of_this_connection (name TEXT)")

        kept.close_if_unusable_or_obsolete()

        assert execute(kept, "SELECT count(*) FROM of_this_connection") == [0]

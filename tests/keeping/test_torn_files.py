"""A log beside a database is used where it belongs to it, and never where it does not."""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, connections  # noqa: F401

from apiary_sales.keeping import torn_files
from apiary_sales.keeping.services import backups
from tests import serving

TABLES = (
    "CREATE TABLE sale (number INTEGER PRIMARY KEY, buyer TEXT, note TEXT);"
    "CREATE INDEX by_buyer ON sale (buyer);"
)
# Writes sales until it is killed after the last one: it closes nothing.
WRITER = """
import os, signal, sqlite3, sys
path, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
opened = sqlite3.connect(path, isolation_level=None)
opened.execute("PRAGMA journal_mode=WAL")
# The machine goes on: what is written is there, whether or not it is on the disk yet.
opened.execute("PRAGMA synchronous=OFF")
for number in range(first, first + count):
    opened.execute("BEGIN IMMEDIATE")
    sale = (number, f"{number * 7919 % 1000}", "z" * 300)
    opened.execute("INSERT INTO sale VALUES (?, ?, ?)", sale)
    opened.execute("COMMIT")
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.fixture
def database(tmp_path) -> Path:
    path = tmp_path / "honey.sqlite3"
    with closing(sqlite3.connect(path)) as opened:
        opened.executescript(TABLES)
    return path


def sell_and_be_killed(path: Path, first: int, count: int) -> None:
    """Write sales in another process that is killed, and leaves its log beside the database."""
    killed = subprocess.run(
        [sys.executable, "-c", WRITER, str(path), str(first), str(count)], check=False
    )
    assert killed.returncode == -signal.SIGKILL
    assert torn_files.has_log(path)


def close_in_order(path: Path) -> None:
    """Open and close a database, by which SQLite writes its log into it."""
    with closing(sqlite3.connect(path)) as opened:
        opened.execute("SELECT count(*) FROM sale").fetchone()
    assert not torn_files.has_log(path)


def sales(path: Path) -> int:
    with closing(sqlite3.connect(path)) as opened:
        return opened.execute("SELECT count(*) FROM sale").fetchone()[0]


def bytes_of(path: Path) -> dict[str, bytes]:
    """Return what is in a database and its log; the third file is SQLite's memory of the log."""
    return {each.name: each.read_bytes() for each in (path, path.with_name(path.name + "-wal"))}


@pytest.fixture
def torn(database) -> Path:
    """An early copy put over a database whose service was killed, with the log left beside."""
    early = database.with_name("early")
    sell_and_be_killed(database, 0, 1_000)
    close_in_order(database)
    shutil.copyfile(database, early)
    sell_and_be_killed(database, 1_000, 400)
    close_in_order(database)
    sell_and_be_killed(database, 1_400, 20)
    shutil.copyfile(early, database)
    return database


def test_sqlite_would_destroy_a_database_beside_the_log_of_another(torn):
    """The harm that this is about, shown on a copy."""
    close_in_order(torn)

    assert torn_files._damage(torn, "immutable=1")


def test_a_log_of_another_time_is_told_and_nothing_is_changed(torn):
    before = bytes_of(torn)

    assert torn_files.fault(torn)

    assert bytes_of(torn) == before


def test_without_the_log_the_copied_database_is_whole(torn):
    for path in torn_files.beside(torn):
        path.rename(path.with_name(f"aside-{path.name}"))

    assert torn_files.fault(torn) == ""
    assert sales(torn) == 1_000


def test_the_log_of_another_house_is_told(torn, tmp_path):
    other = tmp_path / "other" / "honey.sqlite3"
    other.parent.mkdir()
    with closing(sqlite3.connect(other)) as opened:
        opened.executescript("CREATE TABLE hive (name TEXT); INSERT INTO hive VALUES ('a')")
    shutil.copyfile(torn.with_name("honey.sqlite3-wal"), other.with_name("honey.sqlite3-wal"))

    assert torn_files.fault(other)


def test_a_log_without_its_database_is_told(torn):
    torn.unlink()
    before = torn.with_name("honey.sqlite3-wal").read_bytes()

    assert torn_files.fault(torn) == "the database is missing or empty"
    torn.touch()
    assert torn_files.fault(torn) == "the database is missing or empty"

    assert torn.with_name("honey.sqlite3-wal").read_bytes() == before


@pytest.mark.parametrize("count", [1, 40, 1_500])
def test_a_writer_that_was_killed_leaves_a_log_that_is_used(database, count):
    sell_and_be_killed(database, 0, count)

    assert torn_files.fault(database) == ""
    assert sales(database) == count


def test_a_writer_that_was_killed_again_and_again_is_never_refused(database):
    for turn in range(6):
        sell_and_be_killed(database, turn * 300, 300)
        assert torn_files.fault(database) == ""
    assert sales(database) == 1_800


def test_a_log_whose_last_page_was_cut_off_by_a_power_cut_is_used_up_to_it(database):
    sell_and_be_killed(database, 0, 30)
    log = database.with_name("honey.sqlite3-wal")
    os.truncate(log, log.stat().st_size - 1_000)

    assert torn_files.fault(database) == ""
    assert sales(database) == 29


def test_both_files_on_another_machine_are_used(database, tmp_path):
    sell_and_be_killed(database, 0, 300)
    moved = tmp_path / "moved" / "honey.sqlite3"
    moved.parent.mkdir()
    for end in ("", "-wal"):
        shutil.copyfile(database.with_name(database.name + end), f"{moved}{end}")

    assert torn_files.fault(moved) == ""
    assert sales(moved) == 300


def test_a_copy_that_the_log_goes_on_from_is_used(database):
    """Nothing was written into the database since it was copied: the log has all that came."""
    sell_and_be_killed(database, 0, 200)
    close_in_order(database)
    shutil.copyfile(database, database.with_name("early"))
    sell_and_be_killed(database, 200, 5)
    shutil.copyfile(database.with_name("early"), database)

    assert torn_files.fault(database) == ""
    assert sales(database) == 205


def test_a_database_that_is_in_use_is_left_alone(database):
    with closing(sqlite3.connect(database)) as opened:
        opened.execute("PRAGMA journal_mode=WAL")
        opened.execute("INSERT INTO sale VALUES (1, 'a', 'b')")
        opened.commit()
        opened.execute("BEGIN IMMEDIATE")
        opened.execute("INSERT INTO sale VALUES (2, 'a', 'b')")

        assert torn_files.fault(database) == ""

        opened.commit()
    assert sales(database) == 2


def test_damage_that_is_not_of_the_log_is_not_for_the_start_to_judge(database):
    sell_and_be_killed(database, 0, 300)
    close_in_order(database)
    sell_and_be_killed(database, 300, 1)
    with database.open("r+b") as file:
        file.seek(4_096 * 5)
        file.write(b"x" * 4_096)

    assert torn_files._damage(database, "mode=ro")
    assert torn_files.fault(database) == ""


@pytest.mark.skipif("connection.vendor != 'sqlite'")
def test_the_service_does_not_start_on_torn_files_and_a_restore_puts_them_right(
    own_database, proved_at_once, capsys
):
    database = Path(own_database)
    backup = backups.make().file
    connections.close_all()
    with closing(sqlite3.connect(database)) as opened:
        opened.executescript(TABLES)
    shutil.copyfile(database, database.with_name("early"))
    sell_and_be_killed(database, 0, 400)
    close_in_order(database)
    sell_and_be_killed(database, 400, 20)
    shutil.copyfile(database.with_name("early"), database)
    before = bytes_of(database)

    migrated = serving.manage(database.parent, "migrate")
    refused = serving.manage(database.parent, "serve", "--listen", "127.0.0.1:0")

    assert migrated.returncode == 1
    assert "do not belong together" in migrated.stderr
    assert refused.returncode == 1
    assert "honey.sqlite3 and honey.sqlite3-wal in" in refused.stderr
    assert "do not belong together" in refused.stderr
    assert f"manage.py restore FILE (the newest is {backup})" in refused.stderr
    assert "move honey.sqlite3-wal and honey.sqlite3-shm to another folder" in refused.stderr
    assert bytes_of(database) == before

    call_command("restore", backup, "--over-newer")

    said = capsys.readouterr().out
    [log] = database.parent.glob("honey.sqlite3-wal.before-restore-*")
    assert f"did not belong to it. It is kept as {log}" in said
    assert log.read_bytes() == before["honey.sqlite3-wal"]
    [old] = database.parent.glob("honey.sqlite3.before-restore-*")
    assert sales(old) == 0
    assert torn_files.fault(database) == torn_files.fault(old) == ""

"""A database of each version that landed, upgraded to the present: see `walk.py` for what holds.

The oldest and the newest of each kind are upgraded by `migrate` in a process of their own, as an
upgrade is, the others side by side, each by the same changes (see `side_by_side.py`). The books of
each are checked. Opening all pages takes long, and so the pages are opened of the oldest version on
SQLite, which has the longest way, and of the newest on PostgreSQL, which has all kinds of rows. The
bills of the newest are checked as data. PostgreSQL runs on a server of our own.
"""

import psycopg
import pytest

from tests import postgresql, skips
from tests.upgrade import databases, make_dumps

WALK = "from tests.upgrade import walk; walk.main()"
MIGRATE = "from tests.upgrade import walk; walk.main(opens_pages=False)"
BILLS = "from tests.upgrade import walk; walk.main(opens_pages=False, checks_bills=True)"
SIDE_BY_SIDE = "from tests.upgrade import walk; walk.side_by_side_main({names})"


@pytest.mark.parametrize(("which", "code"), [(0, WALK), (-1, BILLS)], ids=["oldest", "newest"])
def test_a_sqlite_database_of_an_earlier_version_works_after_migrate(which, code, tmp_path):
    version = databases.versions("sqlite")[which]
    database = tmp_path / "honey.sqlite3"
    databases.load_sqlite(databases.dump_path(version, "sqlite").read_text("utf-8"), database)

    url = databases.sqlite_url(database)
    walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


@pytest.mark.parametrize(("which", "code"), [(0, MIGRATE), (-1, WALK)], ids=["oldest", "newest"])
def test_a_postgresql_database_of_an_earlier_version_works_after_migrate(which, code, tmp_path):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    version = databases.versions("postgresql")[which]
    with postgresql.server() as url:
        dump = databases.dump_path(version, "postgresql").read_text("utf-8")
        databases.load_postgresql(dump, url)
        walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


def test_the_sqlite_databases_of_all_versions_between_keep_their_rows_and_books(tmp_path):
    names = {}
    for version in databases.versions("sqlite")[1:-1]:
        dump = databases.dump_path(version, "sqlite").read_text("utf-8")
        names[version] = str(tmp_path / f"{version}.sqlite3")
        databases.load_sqlite(dump, tmp_path / f"{version}.sqlite3")

    url = databases.sqlite_url(tmp_path / "none.sqlite3")
    code = SIDE_BY_SIDE.format(names=names)
    walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


def test_the_postgresql_databases_of_all_versions_between_keep_their_rows_and_books(tmp_path):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with postgresql.server() as url:
        names = {}
        for version in databases.versions("postgresql")[1:-1]:
            names[version] = f"honey_{version.replace('.', '_')}"
            with psycopg.connect(url, autocommit=True) as server:
                server.execute(f"CREATE DATABASE {names[version]}")
            dump = databases.dump_path(version, "postgresql").read_text("utf-8")
            databases.load_postgresql(dump, url.replace("/postgres", f"/{names[version]}"))
        code = SIDE_BY_SIDE.format(names=names)
        walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


@pytest.mark.usefixtures("django_db_setup")
def test_a_dump_of_the_present_can_be_made_and_holds_nothing_of_the_machine(empty_database):
    dump = make_dumps.sqlite(empty_database)

    assert dump.count("INSERT INTO") > 500
    assert 'INSERT INTO "accounts_housesession"' not in dump
    assert "pbkdf2" not in dump
    assert "honey-dump-" not in dump
    assert str(databases.ROOT) not in dump

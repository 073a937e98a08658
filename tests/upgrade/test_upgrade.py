"""A database of each version that landed, upgraded to the present: see `walk.py` for what holds.

Each runs in a process of its own, as an upgrade does, and on PostgreSQL on a server of our own.
The books of each are checked. Opening all pages takes long, and so the pages are opened of the
oldest version on SQLite, which has the longest way, and of the newest on PostgreSQL, which has all
kinds of rows. The bills of the newest are checked as data.
"""

import pytest

from tests import postgresql, skips
from tests.upgrade import databases, make_dumps

WALK = "from tests.upgrade import walk; walk.main()"
MIGRATE = "from tests.upgrade import walk; walk.main(opens_pages=False)"
BILLS = "from tests.upgrade import walk; walk.main(opens_pages=False, checks_bills=True)"


@pytest.mark.parametrize("version", databases.versions("sqlite"))
def test_a_sqlite_database_of_an_earlier_version_works_after_migrate(version, tmp_path):
    database = tmp_path / "honey.sqlite3"
    databases.load_sqlite(databases.dump_path(version, "sqlite").read_text("utf-8"), database)

    oldest, *_between, newest = databases.versions("sqlite")
    code = {oldest: WALK, newest: BILLS}.get(version, MIGRATE)
    url = databases.sqlite_url(database)
    walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


@pytest.mark.parametrize("version", databases.versions("postgresql"))
def test_a_postgresql_database_of_an_earlier_version_works_after_migrate(version, tmp_path):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with postgresql.server() as url:
        dump = databases.dump_path(version, "postgresql").read_text("utf-8")
        databases.load_postgresql(dump, url)
        is_newest = version == databases.versions("postgresql")[-1]
        walked = databases.run(WALK if is_newest else MIGRATE, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


@pytest.mark.usefixtures("django_db_setup")
def test_a_dump_of_the_present_can_be_made_and_holds_nothing_of_the_machine(empty_database):
    dump = make_dumps.sqlite(empty_database)

    assert dump.count("INSERT INTO") > 500
    assert 'INSERT INTO "accounts_housesession"' not in dump
    assert "pbkdf2" not in dump
    assert "honey-dump-" not in dump
    assert str(databases.ROOT) not in dump

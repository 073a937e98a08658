"""A database of each version that landed, upgraded to the present: see `walk.py` for what holds.

The oldest and the newest of SQLite and the newest of PostgreSQL are upgraded by `migrate` in a
process of their own, as an upgrade is, the others side by side, each by the same changes (see
`side_by_side.py`): `migrate` itself takes the longest way on SQLite, and what that way does to a
database of PostgreSQL is done to the oldest of them too. The books of each are checked. Opening all
pages takes long, and so the pages are opened of the oldest version on SQLite, which has the longest
way, and of the newest on PostgreSQL, which has all kinds of rows. The bills of the newest are
checked as data. PostgreSQL runs on a server of our own.
"""

from pathlib import Path

import psycopg
import pytest

from tests import postgresql, skips
from tests.upgrade import databases, make_dumps

WALK = "from tests.upgrade import walk; walk.main()"
BILLS = "from tests.upgrade import walk; walk.main(opens_pages=False, checks_bills=True)"
SIDE_BY_SIDE = "from tests.upgrade import walk; walk.side_by_side_main({urls})"


@pytest.mark.parametrize(("which", "code"), [(0, WALK), (-1, BILLS)], ids=["oldest", "newest"])
def test_a_sqlite_database_of_an_earlier_version_works_after_migrate(which, code, tmp_path):
    version = databases.versions("sqlite")[which]
    database = tmp_path / "honey.sqlite3"
    databases.load_sqlite(databases.dump_path(version, "sqlite").read_text("utf-8"), database)

    url = databases.sqlite_url(database)
    walked = databases.run(code, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


def test_the_newest_postgresql_database_works_after_migrate(tmp_path):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    version = databases.versions("postgresql")[-1]
    with postgresql.server() as url:
        dump = databases.dump_path(version, "postgresql").read_text("utf-8")
        databases.load_postgresql(dump, url)
        walked = databases.run(WALK, data_dir=tmp_path, database_url=url)

    assert walked.returncode == 0, walked.stdout + walked.stderr


def test_the_databases_of_all_versions_between_keep_their_rows_and_books(tmp_path):
    houses = [_sqlite_house(version, tmp_path) for version in databases.versions("sqlite")[1:-1]]
    if postgresql.programs() is None:
        _upgrade_side_by_side(houses, tmp_path)
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with postgresql.server() as url:
        for version in databases.versions("postgresql")[:-1]:
            houses.append(_postgresql_house(version, url))
        _upgrade_side_by_side(houses, tmp_path)


def _upgrade_side_by_side(houses: list[tuple[str, str]], folder: Path) -> None:
    """Upgrade houses, each given by its version and the address of its database."""
    houses = sorted(houses, key=lambda house: databases.numbers(house[0]))
    walked = databases.run(
        SIDE_BY_SIDE.format(urls={f"{version} at {url}": url for version, url in houses}),
        data_dir=folder,
        database_url=databases.sqlite_url(folder / "none.sqlite3"),
    )

    assert walked.returncode == 0, walked.stdout + walked.stderr


def _sqlite_house(version: str, folder: Path) -> tuple[str, str]:
    """Load the database of a version, and return the version and its address."""
    database = folder / f"{version}.sqlite3"
    databases.load_sqlite(databases.dump_path(version, "sqlite").read_text("utf-8"), database)
    return version, databases.sqlite_url(database)


def _postgresql_house(version: str, server_url: str) -> tuple[str, str]:
    """Load the database of a version beside others, and return the version and its address."""
    name = f"honey_{version.replace('.', '_')}"
    with psycopg.connect(server_url, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
    url = server_url.replace("/postgres", f"/{name}")
    databases.load_postgresql(databases.dump_path(version, "postgresql").read_text("utf-8"), url)
    return version, url


@pytest.mark.usefixtures("django_db_setup")
def test_a_dump_of_the_present_can_be_made_and_holds_nothing_of_the_machine(empty_database):
    dump = make_dumps.sqlite(empty_database)

    assert dump.count("INSERT INTO") > 500
    assert 'INSERT INTO "accounts_housesession"' not in dump
    assert "pbkdf2" not in dump
    assert "honey-dump-" not in dump
    assert str(databases.ROOT) not in dump

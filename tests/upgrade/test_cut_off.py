"""An upgrade that is cut off half-way goes on where it was, and loses nothing."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from tests import postgresql, skips
from tests.upgrade import databases

APPLYING = b"  Applying "
PROVE = "from django.core.management import call_command; call_command('verify_ledger', '--all')"


@contextmanager
def older_house(vendor: str, tmp_path) -> Iterator[str]:
    """Yield the address of a database as the version before this one left it."""
    version = databases.versions(vendor)[-2]
    dump = databases.dump_path(version, vendor).read_text("utf-8")
    if vendor == "sqlite":
        databases.load_sqlite(dump, tmp_path / "honey.sqlite3")
        yield databases.sqlite_url(tmp_path / "honey.sqlite3")
        return
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with postgresql.server() as url:
        databases.load_postgresql(dump, url)
        yield url


def migrate_until(count: int, url: str, tmp_path) -> bytes:
    """Kill `migrate` in the midst of a change, and return what it said until then."""
    said = b""
    with subprocess.Popen(
        [sys.executable, "manage.py", "migrate"],
        cwd=databases.ROOT,
        env={**os.environ, "DATA_DIR": str(tmp_path), "DATABASE_URL": url},
        stdout=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        while said.count(APPLYING) < count and (more := process.stdout.read1()):
            said += more
        process.kill()
    return said


@pytest.mark.parametrize("vendor", ["sqlite", "postgresql"])
def test_an_upgrade_that_is_cut_off_goes_on_where_it_was(vendor, tmp_path):
    with older_house(vendor, tmp_path) as url:
        said = migrate_until(6, url, tmp_path)
        proved = databases.run(
            f"from django.core.management import call_command; call_command('migrate'); {PROVE}",
            data_dir=tmp_path,
            database_url=url,
        )

    assert proved.returncode == 0, proved.stdout + proved.stderr
    # The one that was cut off begins again; those before it stay.
    again = proved.stdout.split("  Applying ")[1:]
    cut_off = said.decode().split("  Applying ")[-1].split("...")[0]
    assert again[0].startswith(cut_off)
    assert "OK" in again[-1]
    assert "The books are right" in proved.stdout

"""The tests of the data once more on a real PostgreSQL, with those that need rival writers.

They run in a test run of their own, whose DATABASE_URL points to a server made for the purpose.
The database of that server that new ones are copies of is migrated once, for all of them.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tests import postgresql, skips, timing
from tests.upgrade import databases

MIGRATE = "from django.core.management import call_command; call_command('migrate', verbosity=0)"


@pytest.mark.skipif(
    "postgres" in os.environ.get("DATABASE_URL", ""), reason="this is the run on PostgreSQL"
)
def test_the_data_holds_on_postgresql(record_property):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with postgresql.server() as url, tempfile.TemporaryDirectory() as folder:
        template = url.replace("/postgres", "/template1")
        migrated = databases.run(MIGRATE, data_dir=Path(folder), database_url=template)
        assert migrated.returncode == 0, migrated.stderr
        run = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-m", "data_layer"],
            cwd=databases.ROOT,
            env={**os.environ, "DATABASE_URL": url},
            capture_output=True,
            text=True,
        )

    assert run.returncode == 0, run.stdout[-10_000:] + run.stderr[-2_000:]
    record_property(timing.INNER_RUN, run.stdout[run.stdout.rindex("= where the time went") :])

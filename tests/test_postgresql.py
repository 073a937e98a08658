"""The data layer once more on a real PostgreSQL, with the tests that need rival writers.

The tests of the data layer run in a second process whose DATABASE_URL points to a server made
for the purpose; tests marked `postgresql` run only there.
"""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import postgresql, skips

ROOT = Path(__file__).resolve().parent.parent
AREAS = ["inventory", "customers", "pricing", "orders", "billing", "reports"]


@pytest.mark.skipif(
    "postgres" in os.environ.get("DATABASE_URL", ""), reason="this is the run on PostgreSQL"
)
def test_the_data_layer_holds_on_postgresql():
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with postgresql.server() as url:
        run = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-n", "2", *(f"tests/{area}" for area in AREAS)],
            cwd=ROOT,
            env={**os.environ, "DATABASE_URL": url},
            capture_output=True,
            text=True,
        )

    assert run.returncode == 0, run.stdout[-10_000:] + run.stderr[-2_000:]

"""What each page and each reading of the API asks of the database, in a house with much work.

What is named here as too much is so; each row goes when its reading gets better.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import readings
from tests.benchmarks.visitor import visit

QUERIES = 25
ROOT = Path(__file__).resolve().parent.parent

TOO_MANY_QUERIES: dict[str, int] = {}
LOOKED_THROUGH: dict[str, set[str]] = {}


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """Return what each reading asks that an owner can have, by name, in the smallest house."""
    database = tmp_path_factory.mktemp("readings") / "honey.sqlite3"
    subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.house", "10k", "--sqlite", str(database)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    with visit(f"sqlite:///{database}") as house:
        found = readings.of(house) | house.ask(act="busy")
        answers = {
            name: house.ask(act="asks", role="owner", address=address)
            for name, address in found.items()
            if not name.startswith("admin:")
        }
    return {name: answer for name, answer in answers.items() if answer["status"] == 200}


def test_a_reading_asks_the_database_25_times_at_most(asked):
    assert len(asked) > 300
    too_many = {name: each["queries"] for name, each in asked.items() if each["queries"] > QUERIES}
    assert too_many == TOO_MANY_QUERIES


def test_no_reading_looks_through_all_the_history(asked):
    looked = {}
    for name, each in asked.items():
        for table in each["scanned"]:
            looked.setdefault(table, set()).add(name)
    assert looked == LOOKED_THROUGH

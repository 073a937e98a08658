"""Which tests are about the data, and so run once more on PostgreSQL.

Each test that uses the database is, but for those in files that open pages, write papers or ask
the API: what they check is how Django and our templates show what the services and queries answer,
and those have tests of their own. Such files are told by their folder or by the end of their name.
Where one of them does run on PostgreSQL, it says so: `pytestmark = pytest.mark.data_layer`.
The invented house is loaded on SQLite alone, too: it takes long, and what it does has other tests.
"""

from pathlib import Path

import pytest
from django.db import connection

MARK = "data_layer"
TESTS = Path(__file__).resolve().parent
FOLDERS_OF_PAGES = ("api", "browser", "demo", "web")
FILES_OF_PAGES = ("_page.py", "_pages.py", "_papers.py", "_printed.py", "_api.py")
DATABASE_FIXTURES = {"db", "transactional_db"}


def opens_pages(path: Path) -> bool:
    """Tell whether a file of tests is about pages or papers, by its place and name."""
    folder = path.relative_to(TESTS).parts[0]
    return folder in FOLDERS_OF_PAGES or path.name.endswith(FILES_OF_PAGES)


def has_none(path: Path) -> bool:
    """Tell whether a file of tests has none of the data: it opens pages, and marks no test."""
    return path.suffix == ".py" and opens_pages(path) and MARK not in path.read_text("utf-8")


def mark(items: list[pytest.Item]) -> None:
    """Mark the tests that are about the data."""
    for item in items:
        if not opens_pages(item.path) and _uses_database(item):
            item.add_marker(MARK)


def _uses_database(item: pytest.Item) -> bool:
    fixtures = getattr(item, "fixturenames", ())
    return bool(item.get_closest_marker("django_db")) or not DATABASE_FIXTURES.isdisjoint(fixtures)


def examples(count: int) -> int:
    """Return how many random examples to try of a law: all of them on SQLite, a third elsewhere.

    The law is the same on every database. What may differ is how a statement is carried out, and
    a third of the examples carries out each of them many times.
    """
    return count if connection.vendor == "sqlite" else count // 3

"""Which tests are about the data, and so run once more on PostgreSQL.

Each test that uses the database is, but for those in files that open pages or ask the API: what
they check is written by Django and our templates, the same on every database. Such files are told
by their folder or by the end of their name.
"""

from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
FOLDERS_OF_PAGES = ("api", "browser", "web")
FILES_OF_PAGES = ("_page.py", "_pages.py", "_api.py")
DATABASE_FIXTURES = {"db", "transactional_db"}


def opens_pages(path: Path) -> bool:
    """Tell whether a file of tests is about pages, by its place and name."""
    folder = path.relative_to(TESTS).parts[0]
    return folder in FOLDERS_OF_PAGES or path.name.endswith(FILES_OF_PAGES)


def mark(items: list[pytest.Item]) -> None:
    """Mark the tests that are about the data."""
    for item in items:
        if not opens_pages(item.path) and _uses_database(item):
            item.add_marker(pytest.mark.data_layer)


def _uses_database(item: pytest.Item) -> bool:
    fixtures = getattr(item, "fixturenames", ())
    return bool(item.get_closest_marker("django_db")) or not DATABASE_FIXTURES.isdisjoint(fixtures)

"""How the product asks a database, where another way to ask the same is slow on one of them."""

import re
from pathlib import Path

from django.conf import settings

# What leads from a row to the one that undoes it, which few have.
WITHOUT_ONE = re.compile(r"\b(?:\w+__)?reversed_by(?:=None|__isnull=True)")


def test_rows_that_none_undoes_are_asked_for_by_the_column_that_joins_them():
    """Asked for those without a key, PostgreSQL expects a single one, and reads all rows for it."""
    base = Path(settings.BASE_DIR)
    found = [
        f"{path.relative_to(base)}: {asked}"
        for package in ("inventory", "apiary_sales")
        for path in sorted((base / package).rglob("*.py"))
        if "migrations" not in path.parts
        for asked in WITHOUT_ONE.findall(path.read_text(encoding="utf-8"))
    ]

    assert WITHOUT_ONE.search("filter(posting__reversed_by=None)")
    assert found == []

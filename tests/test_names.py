"""Each class of the product has a name of its own, so that a name leads to one place."""

import ast
from collections import defaultdict
from pathlib import Path

from django.conf import settings

# Django looks for these names in every app, command and migration.
NAMES_DJANGO_ASKS_FOR = {"Command", "Migration"}


def class_places():
    """Return where each name of a class is defined, as "file:line"."""
    base = Path(settings.BASE_DIR)
    places = defaultdict(list)
    for package in ("inventory", "apiary_sales"):
        for path in sorted((base / package).rglob("*.py")):
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.ClassDef):
                    places[node.name].append(f"{path.relative_to(base)}:{node.lineno}")
    return places


def test_each_class_name_is_defined_once():
    places = class_places()

    assert "Invoice" in places
    twice = {
        name: found
        for name, found in places.items()
        if len(found) > 1 and name not in NAMES_DJANGO_ASKS_FOR
    }
    assert twice == {}

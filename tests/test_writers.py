"""No app writes the models of another app: it calls that app's service."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
WRITES = {
    "bulk_create",
    "bulk_update",
    "create",
    "delete",
    "get_or_create",
    "update",
    "update_or_create",
}
# The rooms whose services may write each other's rows: bottling is built on stock, in one app.
ONE_APP = {"inventory"}


def app_of(module: str) -> str:
    """Return the app of a dotted module: apiary_sales.orders.services → apiary_sales.orders."""
    parts = module.split(".")
    return parts[0] if parts[0] in ONE_APP else ".".join(parts[:2])


def service_files() -> list[Path]:
    """Return every file that may write: the services of every app."""
    found = [*ROOT.glob("inventory/*/services/*.py")]
    found += [*ROOT.glob("apiary_sales/*/services/*.py"), *ROOT.glob("apiary_sales/*/services.py")]
    return sorted(path for path in found if path.name != "__init__.py")


def foreign_writes(source: str, module: str) -> Iterator[str]:
    """Yield each place where a module writes rows of a model that another app has."""
    tree = ast.parse(source)
    foreign = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and node.module and ".models" in node.module
        for alias in node.names
        if node.module.startswith(("inventory.", "apiary_sales."))
        and app_of(node.module) != app_of(module)
    }
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        function = node.func
        if isinstance(function, ast.Name) and function.id in foreign and node.keywords:
            yield f"{module}:{node.lineno}: makes a {function.id}"
        if isinstance(function, ast.Name) and function.id == "PreparedUpdate":
            names = {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}
            if names & foreign:
                yield f"{module}:{node.lineno}: update of {', '.join(names & foreign)}"
        if isinstance(function, ast.Attribute) and function.attr in WRITES:
            names = {part.id for part in ast.walk(function) if isinstance(part, ast.Name)}
            managers = {part.attr for part in ast.walk(function) if isinstance(part, ast.Attribute)}
            if names & foreign and "objects" in managers:
                yield f"{module}:{node.lineno}: {function.attr} of {', '.join(names & foreign)}"


@pytest.mark.parametrize("path", service_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_service_writes_only_rows_of_its_own_app(path):
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)

    assert list(foreign_writes(path.read_text(), module)) == []


def rules_files() -> list[Path]:
    """Return every module of pure decisions."""
    folders = [*ROOT.glob("inventory/*/rules/*.py"), *ROOT.glob("apiary_sales/*/rules/*.py")]
    return sorted([*folders, *ROOT.glob("*/*/rules.py")])


@pytest.mark.parametrize("path", rules_files(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_rule_neither_reads_nor_writes_rows(path):
    used = {
        node.attr
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Attribute)
    }

    assert used & {"objects", "save", "refresh_from_db"} == set()


def test_a_write_of_another_apps_rows_is_noticed():
    source = """
from inventory.stock.models import Place
def send(places):
    Place.objects.filter(pk__in=places).update(is_active=False)
    Place(code="d-1")
CLOSE = PreparedUpdate(lambda: Place.objects.filter(pk=1), is_active=False)
"""

    assert sorted(foreign_writes(source, "apiary_sales.orders.services.orders")) == [
        "apiary_sales.orders.services.orders:4: update of Place",
        "apiary_sales.orders.services.orders:5: makes a Place",
        "apiary_sales.orders.services.orders:6: update of Place",
    ]
    assert list(foreign_writes(source, "inventory.bottling.services.runs")) == []

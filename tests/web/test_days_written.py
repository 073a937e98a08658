"""One way of writing a day, on all pages and papers."""

import re
from pathlib import Path

import pytest
from django.conf import settings

# A day, its weekday beside it, a day with its time, a month alone, and what an address or a field
# of a form takes.
WAYS = {
    "DATE_FORMAT",
    "DATETIME_FORMAT",
    "SHORT_DATE_FORMAT",
    "SHORT_DATETIME_FORMAT",
    "TIME_FORMAT",
    "YEAR_MONTH_FORMAT",
    "F",
    "l",
    "M Y",
    "Y",
    "Y-m-d",
    "c",
}
FILTER = re.compile(r"""\|(?:date|time)(?::["']([^"']*)["'])?""")
CALL = re.compile(r"""date_format\([^()]*(?:\([^()]*\))*[^()]*,\s*"([^"]*)"\)""")

TEMPLATES = sorted((settings.BASE_DIR / "templates").rglob("*.html"))
MODULES = sorted(
    path
    for room in ("apiary_sales", "inventory")
    for path in (settings.BASE_DIR / room).rglob("*.py")
    if "migrations" not in path.parts
)


def found(paths: list[Path], pattern: re.Pattern) -> dict[str, set[str]]:
    ways: dict[str, set[str]] = {}
    for path in paths:
        for way in pattern.findall(path.read_text()):
            ways.setdefault(way or "DATE_FORMAT", set()).add(path.name)
    return ways


@pytest.mark.parametrize(("paths", "pattern"), [(TEMPLATES, FILTER), (MODULES, CALL)])
def test_days_are_written_in_no_other_way(paths, pattern):
    ways = found(paths, pattern)

    assert len(ways) > 2
    assert {way: names for way, names in ways.items() if way not in {*WAYS, "M"}} == {}


def test_scripts_write_days_as_pages_do():
    scripts = [
        path
        for path in settings.BASE_DIR.rglob("static/**/*.js")
        if "vendor" not in path.parts and ".venv" not in path.parts
    ]
    styles = {
        way for path in scripts for way in re.findall(r'dateStyle: "(\w+)"', path.read_text())
    }

    assert styles == {"medium"}


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_short_way_is_the_same_as_the_long_one(language):
    module = __import__(f"apiary_sales.formats.{language}.formats", fromlist=["formats"])

    assert module.DATE_FORMAT == module.SHORT_DATE_FORMAT
    assert module.DATETIME_FORMAT == module.SHORT_DATETIME_FORMAT
    assert module.DATETIME_FORMAT.startswith(module.DATE_FORMAT)

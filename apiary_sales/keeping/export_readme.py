"""The README inside an export: what each table and column is, in plain words."""

import inspect
from collections.abc import Iterator, Mapping

from django.db import models
from django.utils import translation
from django.utils.text import capfirst

from apiary_sales.keeping.exported import (
    COLUMNS_LEFT_OUT,
    TABLES_LEFT_OUT,
    exported_columns,
    exported_tables,
    file_of,
)
from apiary_sales.keeping.tables import StoredColumn, StoredTable

OURS = ("apiary_sales.", "inventory.")

INTRODUCTION = """\
{house}: everything in one file
{underline}

Exported {moment} by version {version} of the service.

Each table of the books is one CSV file: UTF-8, a comma between cells, the names of the columns in
the first line. Any spreadsheet opens it. manifest.json has the number of rows and the SHA-256 of
each file, and what the books add up to.

How to read the cells
- An empty cell is no value: unknown, or none.
- Money is in whole cents, honey in whole grams, other goods in pieces, unless a name says
  otherwise.
- A moment is in universal time (UTC), a day as year-month-day.
- true and false are yes and no.
- A column that ends in _id is the "id" of a row in the table that is named beside it.
- A text that a spreadsheet would take for a formula has an apostrophe before it, and so has a text
  that begins with an apostrophe. Take one off to have the text as it was typed.
- A column of JSON is a small record of its own: names and values between braces.

Attached files and the logo are in files/, under the names that the tables have. What a table keeps
as bytes, such as the papers that were sent, is in contents/.

To have the house again: manage.py import_house FILE, with the same version of the service and an
empty database.

What is left out
{left_out}

The tables
"""


def text(*, house: str, moment: str, version: str, rows: Mapping[str, int], language: str) -> str:
    """Return the README; `rows` is how many rows each table has, by label.

    It is in English; where the house writes in another language, names are in that one too.
    """
    with translation.override("en"):
        title = f"{house}: everything in one file"
        lines = [
            INTRODUCTION.format(
                house=house,
                underline="=" * len(title),
                moment=moment,
                version=version,
                left_out="\n".join(_left_out()),
            )
        ]
        for table in exported_tables():
            lines += _table(table, rows[table.label], language)
    return "\n".join(lines)


def _left_out() -> Iterator[str]:
    labels = {table.label for table in exported_tables()}
    for label, why in TABLES_LEFT_OUT.items():
        yield f"- {label}: {why}"
    for (label, column), (why, _value) in COLUMNS_LEFT_OUT.items():
        if label in labels:
            yield f"- {label}, {column}: {why}"


def _table(table: StoredTable, rows: int, language: str) -> Iterator[str]:
    name = file_of(table.model)
    yield name
    yield "-" * len(name)
    yield f"{_named(table.model._meta.verbose_name_plural, language)}. Rows: {rows:,}."
    if about := _about(table.model):
        yield about
    yield ""
    for column in exported_columns(table):
        yield f"  {column.name}: {'; '.join(_column(column, language))}"
    yield ""
    yield ""


def _about(model: type[models.Model]) -> str:
    """Return what the code says of a model, unless it says nothing of its own."""
    if model._meta.auto_created:
        first, second = [field for field in model._meta.fields if field.is_relation]
        return (
            f"Which {first.related_model._meta.verbose_name} "  # type: ignore[union-attr]
            f"goes with which {second.related_model._meta.verbose_name}."  # type: ignore[union-attr]
        )
    said = inspect.cleandoc(model.__doc__ or "").replace("`", "")
    if said.startswith(f"{model.__name__}("):
        return ""
    # What a library says of its own goes on for pages.
    return said if model.__module__.startswith(OURS) else " ".join(said.split("\n\n")[0].split())


def _column(column: StoredColumn, language: str) -> Iterator[str]:
    field = column.field
    yield _named(field.verbose_name, language)
    if field.primary_key and not field.is_relation:
        yield "the key of the row"
    elif field.is_relation and field.related_model is not None:
        yield f"a row of {file_of(field.related_model)}"
    else:
        yield _kind(field)
    if field.flatchoices:
        yield "one of " + ", ".join(
            f"{value} ({label})" for value, label in field.flatchoices if value not in ("", None)
        )
    if field.null:
        yield "may be empty"


def _kind(field: models.Field) -> str:
    for kinds, said in KINDS:
        if isinstance(field, kinds):
            return said
    return "text"


KINDS: tuple[tuple[type | tuple[type, ...], str], ...] = (
    (models.BooleanField, "true or false"),
    (models.DateTimeField, "moment"),
    (models.DateField, "day"),
    (models.TimeField, "time of day"),
    (models.DecimalField, "decimal number"),
    (models.IntegerField, "whole number"),
    (models.JSONField, "JSON"),
    (models.FileField, "name of a file in files/"),
    (models.BinaryField, "name of a file in this export"),
)


def _named(name: object, language: str) -> str:
    """Return a name as it is called in English and, where the house writes otherwise, there too."""
    english = capfirst(str(name))
    if language == "en":
        return english
    with translation.override(language):
        own = str(name)
    return english if own.lower() == english.lower() else f"{english} ({language}: {own})"

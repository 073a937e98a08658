"""A value that is written into a CSV file is read back as it was."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.apps import apps

from apiary_sales.keeping import exported, tables
from apiary_sales.keeping.tables import StoredColumn
from inventory.shared.csv_files import starts_formula


def column(label, name):
    return StoredColumn(apps.get_model(label)._meta.get_field(name))


@pytest.mark.parametrize(
    ("label", "name", "value", "text"),
    [
        ("inventory.House", "name", "Mill & Sons", "Mill & Sons"),
        ("inventory.House", "name", "=SUM(A1)", "'=SUM(A1)"),
        ("inventory.House", "name", "-5 °C", "'-5 °C"),
        ("inventory.House", "name", "'tis", "''tis"),
        ("inventory.House", "name", 'a\r\n"b", c', 'a\r\n"b", c'),
        ("inventory.House", "city", "", ""),
        ("inventory.House", "prices_include_tax", False, "false"),
        ("inventory.House", "drum_tolerance_percent", Decimal("1.50"), "1.50"),
        ("inventory.PostingLine", "quantity", -340, "-340"),
        ("inventory.PostingLine", "lot", None, ""),
        ("inventory.Attachment", "removed_at", None, ""),
        (
            "inventory.Attachment",
            "added_at",
            datetime(2026, 11, 1, 6, 30, 0, 250, tzinfo=UTC),
            "2026-11-01T06:30:00.000250+00:00",
        ),
        ("orders.Recall", "answer", {"b": [1, None], "a": "=é"}, '{"a": "=é", "b": [1, null]}'),
    ],
)
def test_a_value_is_the_same_once_it_was_written_and_read(label, name, value, text):
    of = column(label, name)

    assert of.text(value) == text
    assert of.value(text) == value


def test_an_empty_text_is_told_from_none_where_both_may_be():
    nullable = next(
        StoredColumn(field)
        for model in apps.get_models()
        for field in model._meta.concrete_fields
        if StoredColumn(field).is_text and field.null
    )

    assert (nullable.text(None), nullable.text("")) == ("", "'")
    assert (nullable.value(""), nullable.value("'")) == (None, "")


def test_no_text_is_taken_for_a_formula():
    name = column("inventory.House", "name")

    for beginning in ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"):
        assert not starts_formula(name.text(f"{beginning}1"))


def test_each_table_is_a_file_of_its_own_and_what_is_left_out_is_a_table():
    labels = [table.label for table in tables.all_tables()]
    files = [exported.file_of(table.model) for table in exported.exported_tables()]

    assert len(set(files)) == len(files) == len(labels) - len(exported.TABLES_LEFT_OUT)
    named = {*exported.TABLES_LEFT_OUT, *tables.MADE_BY_MIGRATE, *tables.OF_THE_MACHINE}
    assert named <= set(labels)
    for label, name in exported.COLUMNS_LEFT_OUT:
        assert column(label, name).name == name

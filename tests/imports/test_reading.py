"""A file is read as rows of text, whatever program wrote it, and refused where it would do harm."""

import io
import zipfile
from datetime import date
from decimal import Decimal

import pytest
from openpyxl import Workbook

from apiary_sales.imports.rules import columns, tables
from apiary_sales.imports.rules.cells import Writing, read_cell
from apiary_sales.imports.rules.columns import CellKind, ListColumn
from apiary_sales.imports.rules.kinds import ALL, CUSTOMERS, EXPENSES, JARS, PAST_SALES
from inventory.shared.errors import BadValue
from inventory.shared.typed import Mistyped


def rows_of(content: bytes, sign: str = ".") -> list[tuple[int, list[str]]]:
    return list(tables.read(content, decimal_sign=sign))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_text_is_read_in_any_usual_encoding_with_any_separator(encoding, separator):
    text = f"Nombre{separator}Ciudad\r\nJosé Peña{separator}León\r\n"

    assert rows_of(text.encode(encoding)) == [(1, ["Nombre", "Ciudad"]), (2, ["José Peña", "León"])]


def test_a_comma_inside_quotes_and_a_cell_of_two_lines_stay_in_their_cell():
    text = 'Name,Note\n"Olmo, Reyes","first\nsecond"\n\nBruno,x\n'

    assert rows_of(text.encode()) == [
        (1, ["Name", "Note"]),
        (2, ["Olmo, Reyes", "first\nsecond"]),
        (5, ["Bruno", "x"]),
    ]


def test_a_workbook_gives_what_a_person_would_have_typed():
    book = Workbook()
    book.active.append(["Day", "Pieces", "Amount", "Code"])
    book.active.append([date(2026, 7, 31), 24, 228.5, "007"])
    out = io.BytesIO()
    book.save(out)

    assert rows_of(out.getvalue(), ",")[1] == (2, ["2026-07-31", "24", "228,5", "007"])


def test_a_workbook_that_unpacks_to_far_too_much_is_refused_before_it_is_unpacked():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr("xl/worksheets/sheet1.xml", bytes(tables.UNPACKED_BYTES_MAX))
    assert len(out.getvalue()) < 1_000_000

    with pytest.raises(BadValue, match="unpacks to far too much"):
        rows_of(out.getvalue())


def test_a_workbook_with_entities_is_refused():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("xl/workbook.xml", '<!DOCTYPE x [<!ENTITY a "aa">]><workbook/>')

    with pytest.raises(BadValue, match="can't be read"):
        rows_of(out.getvalue())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_is_found_wherever_and_however_it_is_written(encoding):
    book = Workbook()
    book.active.append(["Name"])
    saved, out = io.BytesIO(), io.BytesIO()
    book.save(saved)
    harm = '<!DOCTYPE x [<!ENTITY a "aa">]><x>&a;</x>'
    part = f'<?xml version="1.0" encoding="{encoding}"?><!--{"x" * 2_000}-->{harm}'
    with zipfile.ZipFile(saved) as kept, zipfile.ZipFile(out, "w") as archive:
        for name in kept.namelist():
            archive.writestr(name, kept.read(name))
        archive.writestr("xl/any.part", part.encode(encoding))

    with pytest.raises(BadValue, match="can't be read"):
        rows_of(out.getvalue())


@pytest.mark.parametrize(
    "content", [b"", b"\x00\x01\x02", b"PK\x03\x04broken", b"%PDF-1.7\n\x00\x00"]
)
def test_what_is_no_list_is_refused_at_the_file(content):
    with pytest.raises(BadValue) as refused:
        rows_of(content)

    assert refused.value.parameter == "file"


def test_what_this_service_wrote_before_a_formula_is_taken_off_again():
    assert rows_of(b"Phone\n'+34 555 0142\n")[1] == (2, ["+34 555 0142"])


def test_columns_are_guessed_by_names_in_both_languages_and_none_is_taken_twice():
    found = columns.guessed(CUSTOMERS.columns, ["NOMBRE", "Correo electrónico", "ZIP code", "x"])

    assert found == {"name": 0, "email": 1, "postal_code": 2}
    assert columns.guessed(PAST_SALES.columns, ["Fecha", "Producto", "Cantidad", "Importe"]) == {
        "day": 0,
        "product": 1,
        "pieces": 2,
        "amount": 3,
    }


@pytest.mark.parametrize("what", ALL, ids=lambda what: what.kind.value)
def test_the_headings_of_a_template_are_guessed_as_what_they_are(what):
    headings = [str(column.label) for column in what.columns]

    assert columns.guessed(what.columns, headings) == {
        column.name: place for place, column in enumerate(what.columns)
    }


@pytest.mark.parametrize(
    ("kind", "typed", "writing", "value"),
    [
        (CellKind.MONEY, "1.250,50 €", Writing(decimal_sign=","), 125_050),
        (CellKind.MONEY, "$1,250.50", Writing(), 125_050),
        (CellKind.NUMBER, "17,4", Writing(decimal_sign=","), Decimal("17.4")),
        (CellKind.WHOLE, "1 200", Writing(), 1200),
        (CellKind.WEIGHT, "2 kg", Writing(), 2000),
        (CellKind.LABEL_WEIGHT, "12 oz", Writing(), (Decimal(12), "oz")),
        (CellKind.DAY, "07/31/2026", Writing(), date(2026, 7, 31)),
        (CellKind.DAY, "31/07/2026", Writing(day_order="dmy"), date(2026, 7, 31)),
        (CellKind.DAY, "31.7.26", Writing(), date(2026, 7, 31)),
        (CellKind.DAY, "2026-07-31", Writing(day_order="dmy"), date(2026, 7, 31)),
    ],
)
def test_a_cell_is_read_as_the_list_is_written(kind, typed, writing, value):
    assert read_cell(ListColumn("x", "X", kind), typed, writing) == value


@pytest.mark.parametrize(
    ("kind", "typed"),
    [
        (CellKind.MONEY, "12.345"),
        (CellKind.MONEY, "1,25"),
        (CellKind.WHOLE, "1.5"),
        (CellKind.DAY, "02/30/2026"),
        (CellKind.DAY, "yesterday"),
        (CellKind.LABEL_WEIGHT, "1 lb 2 oz"),
        (CellKind.LABEL_WEIGHT, "1"),
        (CellKind.TEXT, "=1+1"),
    ],
)
def test_a_cell_that_can_be_read_in_no_way_or_in_two_is_refused(kind, typed):
    with pytest.raises((BadValue, Mistyped)):
        read_cell(ListColumn("x", "X", kind), typed, Writing())


def test_a_choice_is_understood_by_its_word_and_refused_with_all_of_them():
    category = EXPENSES.column("category")

    assert read_cell(category, "Fuel and truck", Writing()) == "fuel"
    with pytest.raises(BadValue, match="“petrol” is none of these: queens and bees, feed"):
        read_cell(category, "petrol", Writing())


def test_what_a_service_calls_otherwise_is_found_at_its_column():
    assert JARS.column("cost_cents").name == "cost"

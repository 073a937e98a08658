"""Titles above a list and hidden sheets beside it are passed over."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import Workbook

from apiary_sales.imports.rules import tables
from apiary_sales.imports.services import uploads
from tests import builders


def begun_with(text: str):
    return uploads.upload(
        kind="customers",
        file=SimpleUploadedFile("list.csv", text.encode()),
        decimal_sign=",",
        day_order="dmy",
        uploaded_by=builders.person(),
        key=builders.new_key(),
    )


@pytest.mark.django_db
@pytest.mark.parametrize("title", ["Customers 2026\n\n", "Customers, as of May;;;\n;;;\n\n"])
def test_a_title_above_the_headings_is_passed_over(title):
    begun = begun_with(f"{title}Name;Town;Credit limit\nOlmo;León;12,50\nReyes;;7,00\n")

    assert begun.headings == ["Name", "Town", "Credit limit"]
    assert [row.cells[0] for row in begun.rows.all()] == ["Olmo", "Reyes"]


@pytest.mark.django_db
def test_a_list_of_one_column_has_its_heading_in_the_first_row():
    begun = begun_with("Name\nOlmo, Reyes\nPinto\n")

    assert begun.headings == ["Name"]


def test_a_hidden_sheet_is_not_read():
    book = Workbook()
    book.active.append(["Wages", "800"])
    book.active.sheet_state = "hidden"
    book.create_sheet("Customers").append(["Name", "Town"])
    book.active = 1
    out = io.BytesIO()
    book.save(out)

    assert list(tables.read(out.getvalue(), decimal_sign=".")) == [(1, ["Name", "Town"])]

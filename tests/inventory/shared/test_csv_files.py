"""No text in a CSV file begins a formula, whatever a spreadsheet takes for the end of a cell."""

import csv
import io
from decimal import Decimal

import pytest

from inventory.shared import csv_files

SIGNS = ["=", "+", "-", "@", "＝", "＋", "－", "＠"]
BEFORE = ["", "Honey;", "Honey; ", 'Honey";"', "Honey\t", "Honey\n", "Honey\r\n", ";;", "a,", '",']


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("sign", SIGNS)
def test_no_cell_begins_a_formula_in_any_locale(delimiter, sign):
    texts = [f"{before}{sign}1+1" for before in BEFORE]
    written = csv_files.csv_bytes([[12, text, "Shelf"] for text in texts]).decode("utf-8-sig")

    for row in csv.reader(io.StringIO(written, newline=""), delimiter=delimiter):
        for cell in row:
            assert cell.strip(' "\t')[:1] not in SIGNS, (delimiter, row)


def test_a_house_with_decimal_commas_gets_what_its_spreadsheet_reads(comma_house):
    rows = [["Honey", Decimal("1234.50"), 7, "1.5; 2"], ["Wax", Decimal("-0.5"), None, "a,b"]]

    written = csv_files.csv_bytes(rows).decode("utf-8-sig")
    for_program = csv_files.csv_bytes(rows, for_program=True).decode("utf-8-sig")

    assert written == 'Honey;1234,50;7;"1.5; 2"\r\nWax;-0,5;;a,b\r\n'
    assert for_program == 'Honey,1234.50,7,1.5; 2\r\nWax,-0.5,,"a,b"\r\n'


@pytest.mark.parametrize("text", ["a; b", "5; 6", "two\nlines", "Honey-jar", "a = b", "x\n\ny"])
def test_other_texts_stay_as_they_are(text):
    assert csv_files.made_harmless(text) == text


@pytest.mark.parametrize("before", BEFORE)
def test_what_was_made_harmless_is_read_back_as_it_was(before):
    text = f"{before}=1+1"

    assert csv_files.as_it_was(csv_files.made_harmless(text)) == text

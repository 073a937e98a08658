"""Read a CSV or XLSX file as rows of text, one at a time, and refuse what would do harm.

A workbook is a ZIP archive, and a few kilobytes of one can say that they unpack to gigabytes; what
they say is looked at before any of it is unpacked, and no more than that is ever unpacked. Cells
come out as text, as a person would have typed them, with the decimal sign of the list.
"""

import csv
import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from decimal import Decimal
from itertools import islice
from typing import IO, Any
from xml.parsers import expat

from django.utils.translation import gettext as _

from inventory.shared.csv_files import as_it_was
from inventory.shared.errors import BadValue

SIZE_BYTES_MAX = 10_000_000
UNPACKED_BYTES_MAX = 100_000_000
PARTS_MAX = 500
COLUMNS_MAX = 60
# More than any column takes; a longer text is cut, and refused where its column is used.
CELL_LENGTH_MAX = 2_000
# Rows without anything in them at the end of a sheet are passed over; so many are a broken file.
EMPTY_ROWS_MAX = 1_000
SEPARATORS = (",", ";", "\t")
# The first lines tell what separates cells, and which one has the headings.
LINES_LOOKED_AT = 10
ZIP_START = b"PK\x03\x04"
# What Windows writes for a text in its older encoding; the rest of the bytes are its letters.
FALLBACK_ENCODING = "cp1252"

Row = tuple[int, list[str]]


def read(content: bytes, *, decimal_sign: str) -> Iterator[Row]:
    """Yield the number of each row that is not empty, as a spreadsheet counts, and its cells.

    Raises `BadValue` at "file", before the first row or at any, for what can't be read.
    """
    if not content:
        raise _refused(_("This file is empty. Choose another one."))
    if len(content) > SIZE_BYTES_MAX:
        raise _refused(_("This file is larger than 10 MB. Divide it into several files."))
    if content.startswith(ZIP_START):
        rows = _rows_of_workbook(content, decimal_sign)
    else:
        rows = _rows_of_text(content)
    empty = 0
    for number, cells in rows:
        while cells and not cells[-1]:
            cells.pop()
        if not cells:
            empty += 1
            if empty > EMPTY_ROWS_MAX:
                return
            continue
        empty = 0
        if len(cells) > COLUMNS_MAX:
            raise _refused(
                _("Row %(row)s has %(count)s columns. A list can have %(most)s.")
                % {"row": number, "count": len(cells), "most": COLUMNS_MAX}
            )
        yield number, cells


def _rows_of_text(content: bytes) -> Iterator[Row]:
    text = _decoded(content)
    separator = _separator_of(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    while True:
        # Where a cell has several lines, the row is called by its first one.
        number = reader.line_num + 1
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error:
            raise _refused(
                _("Row %(row)s can't be read. Look for a quotation mark that is not closed.")
                % {"row": number}
            ) from None
        yield number, [_plain(cell) for cell in row]


def _separator_of(text: str) -> str:
    """Return what is between the cells: what most of the first lines have, and most often.

    A blank line or a title at the top has none of it.
    """
    filled = (line for line in io.StringIO(text) if line.strip())
    lines = list(islice(filled, LINES_LOOKED_AT))
    counts = {each: [line.count(each) for line in lines] for each in SEPARATORS}
    return max(
        SEPARATORS, key=lambda each: (sum(count > 0 for count in counts[each]), sum(counts[each]))
    )


def _decoded(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", FALLBACK_ENCODING]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise _refused(
        _(
            "This is neither a CSV file nor an XLSX workbook. Save the list in your spreadsheet "
            "program as “CSV UTF-8” or as “Excel workbook (.xlsx)”."
        )
    )


def _rows_of_workbook(content: bytes, decimal_sign: str) -> Iterator[Row]:
    # Imported here, because it takes a while and only a workbook needs it.
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    _check_archive(content)
    try:
        # What a formula came to is read, never the formula.
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        # A hidden sheet is not what a person sees and means to bring in.
        seen = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
        sheet = (seen or book.worksheets)[0]
        # What a sheet says of its own size is often wrong.
        sheet.reset_dimensions()
        for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
            yield number, [_plain(_typed(value, decimal_sign)) for value in row]
        book.close()
    except BadValue:
        raise
    except (
        *(InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, IndexError),
        *(TypeError, AttributeError, SyntaxError, OSError, EOFError, OverflowError),
    ):
        raise _refused(
            _("This workbook can't be read. Open it in your spreadsheet program and save it again.")
        ) from None


def _check_archive(content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            parts = archive.infolist()
            if len(parts) > PARTS_MAX or sum(p.file_size for p in parts) > UNPACKED_BYTES_MAX:
                raise _refused(
                    _("This workbook unpacks to far too much. Save only the list in a new one.")
                )
            if "xl/workbook.xml" not in archive.namelist():
                raise _refused(_("This is no XLSX workbook. Save the list as .xlsx or as CSV."))
            for part in parts:
                # A workbook declares no entities, which could unpack to far more again.
                with archive.open(part) as opened:
                    if _has_document_type(opened):
                        raise _refused(
                            _("This workbook can't be read. Save the list in a new one.")
                        )
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError):
        raise _refused(
            _("This workbook can't be read. Open it in your spreadsheet program and save it again.")
        ) from None


class _DocumentTypeFound(Exception):
    pass


class _FirstElementFound(Exception):
    pass


def _has_document_type(part: IO[bytes]) -> bool:
    """Tell whether a part is XML with a document type, after whatever and in any encoding.

    It is read up to its first element, behind which there is none.
    """

    def document_type(*_declared: Any) -> None:
        raise _DocumentTypeFound

    def first_element(*_element: Any) -> None:
        raise _FirstElementFound

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = document_type
    parser.StartElementHandler = first_element
    try:
        parser.ParseFile(part)
    except _DocumentTypeFound:
        return True
    except (_FirstElementFound, expat.ExpatError):
        # What expat can't read is a picture, or is refused when the sheet is read.
        pass
    return False


def _typed(value: Any, decimal_sign: str) -> str:
    """Return a cell of a workbook as a person would have typed it in this list."""
    match value:
        case None:
            return ""
        case bool():
            return "1" if value else "0"
        case datetime() if value.time() == time(0):
            return value.date().isoformat()
        case datetime() | date() | time():
            return value.isoformat()
        case float():
            # The shortest decimal that is this float, as the spreadsheet shows it.
            exact = Decimal(repr(value))
            if not exact.is_finite():
                return str(value)
            whole = exact == exact.to_integral_value()
            return f"{exact.to_integral_value() if whole else exact:f}".replace(".", decimal_sign)
        case _:
            return str(value)


def _plain(cell: str) -> str:
    """Return the text of a cell without what surrounds it, and without what can't be printed."""
    # Without what this service writes before what a spreadsheet would take for a formula.
    text = as_it_was(cell.strip()).strip()
    return "".join(mark for mark in text[:CELL_LENGTH_MAX] if mark.isprintable() or mark in "\n\t")


def _refused(sentence: str) -> BadValue:
    return BadValue(sentence, parameter="file")

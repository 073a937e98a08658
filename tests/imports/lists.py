"""Small lists, as files that somebody uploads."""

import csv
import io

from django.core.files.uploadedfile import SimpleUploadedFile

from apiary_sales.imports.models import Import
from apiary_sales.imports.services import checking, uploads
from tests import builders


def file_of(rows: list[list[str]], name: str = "list.csv") -> SimpleUploadedFile:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return SimpleUploadedFile(name, out.getvalue().encode())


def uploaded(kind: str, rows: list[list[str]], **fields) -> Import:
    """Upload a list whose columns are guessed, and check it."""
    asked = {
        "decimal_sign": ".",
        "day_order": "mdy",
        "uploaded_by": builders.person(),
        "key": builders.new_key(),
    }
    begun = uploads.upload(kind=kind, file=file_of(rows), **(asked | fields))
    return checking.check(begun=begun, checked_by=builders.person())


def told(begun: Import) -> dict[int, list[tuple[str, str]]]:
    """Return what is wrong with each row that has something wrong."""
    return {row.number: row.told() for row in begun.rows.exclude(problems=[])}

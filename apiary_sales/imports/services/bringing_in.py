"""Bring a checked list in, so that it counts whole or not at all.

Past sales are written in short batches; they count once their import is complete, which the last
step says. A list of another kind stays staged until one transaction writes all of it through the
services that make such things one by one: nobody ever sees half a list.
"""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, ImportKind, ImportRow, PastSale
from apiary_sales.imports.rows import finders, past_sales
from apiary_sales.imports.rows.writers import WRITERS
from apiary_sales.imports.rules.cells import read_row
from apiary_sales.imports.rules.kinds import BY_KIND
from apiary_sales.imports.services import claims
from apiary_sales.imports.services.checking import (
    RowRead,
    batches,
    in_order,
    key_of,
    unreported,
)
from apiary_sales.imports.services.claims import Report
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow
from inventory.shared.people import Person


def bring_in(
    *,
    begun: Import,
    brought_in_by: Person,
    without_bad_rows: bool = False,
    report: Report = unreported,
) -> Import:
    """Write what the rows of a checked list make, all of it or nothing; return the import.

    Rows with something wrong are left out only `without_bad_rows`. Whatever stops it takes back
    what it wrote. Raises `NotAllowedNow`, `BadValue` at "without_bad_rows", and what a service
    refuses that had accepted the row when it was checked.
    """
    refuse(begun, without_bad_rows=without_bad_rows)
    begun = claims.claim(begun, state=Import.State.WRITING, states=(Import.State.CHECKED,))
    try:
        claims.delete_past_sales(begun)
        if begun.kind == ImportKind.PAST_SALES:
            _write_past_sales(begun, report)
            _complete(begun, brought_in_by)
        else:
            with transaction.atomic():
                _write_at_once(begun, brought_in_by)
                _complete(begun, brought_in_by)
            report(begun.rows_made, begun.rows_made)
    except BaseException as error:
        claims.delete_past_sales(begun)
        why = error.message if isinstance(error, HouseError) else _("It was stopped.")
        claims.give_back(
            begun,
            state=Import.State.CHECKED,
            message=_("Nothing of this list was brought in. %(why)s") % {"why": why},
        )
        raise
    # What was read is personal, and kept no longer than it is needed.
    rows = ImportRow.objects.filter(of_import=begun)
    claims.delete_in_batches(rows.filter(made=[]))
    return begun


def refuse(begun: Import, *, without_bad_rows: bool) -> None:
    """Raise what keeps a list from being brought in, whatever its rows come to."""
    if begun.rows_bad and not without_bad_rows:
        raise BadValue(
            _("Mend the rows with something wrong and upload the list again, or leave them out."),
            parameter="without_bad_rows",
        )
    if not begun.rows_good:
        raise NotAllowedNow(_("No row of this list is right, so there is nothing to bring in."))


def _complete(begun: Import, brought_in_by: Person) -> None:
    begun.state = Import.State.COMPLETE
    begun.completed_by, begun.completed_at = brought_in_by, timezone.now()
    begun.message = ""
    begun.save(update_fields=["state", "completed_by", "completed_at", "message", "rows_made"])


def _write_at_once(begun: Import, brought_in_by: Person) -> None:
    what, writer = BY_KIND[begun.kind], WRITERS[begun.kind]
    writing = finders.writing_of(begun)
    read: list[RowRead] = [
        (row, read_row(what.columns, begun.columns, row.cells, writing))
        for row in begun.rows.filter(problems=[])
    ]
    writer.lock(figures for _row, figures in read)
    for row, figures in in_order(writer, read):
        try:
            made = writer.write(figures, brought_in_by, key_of(begun, row))
        except HouseError as error:
            raise NotAllowedNow(
                _("Row %(row)s is not accepted any more: %(why)s Check the list again.")
                % {"row": row.number, "why": error.message}
            ) from error
        row.made = [[each._meta.label, each.pk] for each in made]
        row.cells = []
    ImportRow.objects.bulk_update([row for row, _f in read], ["made", "cells"], batch_size=200)
    begun.rows_made = len(read)


def _write_past_sales(begun: Import, report: Report) -> None:
    what = BY_KIND[begun.kind]
    writing, own_days = finders.writing_of(begun), past_sales.own_days()
    begun.rows_made = 0
    for batch in batches(begun, begun.rows.filter(problems=[])):
        made = [
            past_sales.past_sale(
                figures=read_row(what.columns, begun.columns, row.cells, writing),
                of_import=begun,
                row_number=row.number,
                own_days=own_days,
            )
            for row in batch
        ]
        with transaction.atomic():
            PastSale.objects.bulk_create(made)
            claims.touch(begun)
        begun.rows_made += len(made)
        report(begun.rows_made, begun.rows_good)

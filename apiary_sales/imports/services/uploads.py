"""Take a file, stage its rows, match its columns, and drop it again."""

import hashlib
from collections.abc import Iterator, Mapping
from itertools import chain, islice
from typing import Any

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, ImportRow
from apiary_sales.imports.rules import columns as column_rules
from apiary_sales.imports.rules import tables
from apiary_sales.imports.rules.kinds import BY_KIND, ListKind
from apiary_sales.imports.services import claims
from inventory.shared import file_contents, words
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# Rows in one transaction: a tenth of a second, so that nobody who sells waits for it.
BATCH = 1_000


def upload(
    *,
    kind: str,
    file: UploadedFile[Any],
    decimal_sign: str,
    day_order: str,
    uploaded_by: Person,
    key: str,
    again: bool = False,
) -> Import:
    """Read a file, stage its rows in short batches, guess its columns, and return the import.

    Nothing of it counts. A file that was brought in before is refused unless `again`. Raises
    `BadValue` at "kind", "file" or "again", `AlreadyRecorded`.
    """
    what = BY_KIND.get(kind)
    if what is None:
        raise BadValue(_("Choose one from the list."), parameter="kind")
    # One byte more than is accepted tells that there is too much.
    content = file.read(tables.SIZE_BYTES_MAX + 1)
    digest = hashlib.sha256(content).hexdigest()
    refuse_repeat(Import, key)
    if not again:
        _refuse_twin(kind, digest)
    rows = tables.read(content, decimal_sign=decimal_sign)
    headings, rows = _headed(what, rows)
    if not any(headings):
        raise BadValue(_("This file is empty. Choose another one."), parameter="file")
    begun = Import.objects.create(
        kind=kind,
        state=Import.State.READING,
        file_name=file_contents.plain_name(file.name or "")[:120],
        sha256=digest,
        decimal_sign=decimal_sign,
        day_order=day_order,
        headings=headings,
        columns=column_rules.guessed(what.columns, headings),
        uploaded_by=uploaded_by,
        idempotency_key=key,
    )
    try:
        begun.rows_read = _stage(begun, what, rows)
    except HouseError:
        _delete_rows(begun)
        begun.delete()
        raise
    begun.state = Import.State.UPLOADED
    begun.save(update_fields=["rows_read", "state"])
    return begun


def _headed(what: ListKind, rows: Iterator[tables.Row]) -> tuple[list[str], Iterator[tables.Row]]:
    """Return the headings, and the rows below them; a title above them is passed over.

    A title is a row of one cell that is called like none of our columns, above a row of several.
    """
    called = {name for column in what.columns for name in column_rules.names_of(column)}
    first = list(islice(rows, tables.LINES_LOOKED_AT))
    for position, (_number, cells) in enumerate(first):
        if sum(map(bool, cells)) > 1 or called & set(map(column_rules.folded, cells)):
            return cells, chain(first[position + 1 :], rows)
    return (first[0][1] if first else []), chain(first[1:], rows)


def _refuse_twin(kind: str, digest: str) -> None:
    twin = Import.objects.filter(kind=kind, sha256=digest, state=Import.State.COMPLETE).first()
    if twin and twin.completed_at:
        raise BadValue(
            _(
                "This same file was brought in on %(day)s already, with %(count)s rows. Tick "
                "“Bring it in again” if that is what you want."
            )
            % {
                "day": date_format(timezone.localtime(twin.completed_at)),
                "count": words.number(twin.rows_made),
            },
            parameter="again",
        )


def _stage(begun: Import, what: ListKind, rows: Iterator[tables.Row]) -> int:
    count = 0
    rows = _without_example(begun, what, rows)
    while batch := list(islice(rows, BATCH)):
        count += len(batch)
        if count > what.rows_max:
            raise BadValue(
                _("This list has more than %(most)s rows. Divide it into several files.")
                % {"most": words.number(what.rows_max)},
                parameter="file",
            )
        with transaction.atomic():
            ImportRow.objects.bulk_create(
                ImportRow(of_import=begun, number=number, cells=cells) for number, cells in batch
            )
            claims.touch(begun)
    if not count:
        raise BadValue(
            _("This file has headings and no rows below them. Choose another one."),
            parameter="file",
        )
    return count


def _without_example(
    begun: Import, what: ListKind, rows: Iterator[tables.Row]
) -> Iterator[tables.Row]:
    """Leave out the example of a template, which is its first row."""
    first = next(rows, None)
    if first is None:
        return iter(())
    is_example = column_rules.has_headings_of_template(
        what.columns, begun.headings
    ) and column_rules.is_example(what.columns, first[1], begun.decimal_sign)
    return rows if is_example else chain([first], rows)


@transaction.atomic
def match(*, begun: Import, columns: Mapping[str, int | None]) -> Import:
    """Say which column of the file each of ours is, by position; None where it is not in the file.

    It has to be checked then. Raises `BadValue` at "columns.<name>", `NotAllowedNow`.
    """
    begun = claims.locked(begun, Import.State.UPLOADED, Import.State.CHECKED)
    what = BY_KIND[begun.kind]
    problems = Problems()
    chosen: dict[str, int] = {}
    for column in what.columns:
        position = columns.get(column.name)
        if position is None:
            if column.is_required:
                problems.add(f"columns.{column.name}", column_rules.needed_sentence())
        elif not 0 <= position < len(begun.headings):
            problems.add(f"columns.{column.name}", _("Choose one from the list."))
        elif position in chosen.values():
            problems.add(
                f"columns.{column.name}",
                _("You chose “%(heading)s” for two columns. Choose another one.")
                % {"heading": begun.headings[position]},
            )
        else:
            chosen[column.name] = position
    problems.raise_any()
    begun.columns = chosen
    begun.state = Import.State.UPLOADED
    begun.rows_bad, begun.message = 0, ""
    begun.save(update_fields=["columns", "state", "rows_bad", "message"])
    return begun


def drop(*, begun: Import) -> Import:
    """Drop a list that was not brought in, with everything that was read of it.

    Raises `NotAllowedNow` where it counts already, or while work on it goes on.
    """
    with transaction.atomic():
        begun = Import.objects.select_for_update().get(pk=begun.pk)
        if not begun.is_open:
            raise NotAllowedNow(_("This list is brought in or dropped already."))
        if begun.is_busy:
            raise NotAllowedNow(_("Work on this list is going on. Stop that first."))
        begun.state = Import.State.DROPPED
        begun.headings, begun.message = [], ""
        begun.save(update_fields=["state", "headings", "message"])
    claims.delete_past_sales(begun)
    _delete_rows(begun)
    return begun


def _delete_rows(begun: Import) -> None:
    claims.delete_in_batches(ImportRow.objects.filter(of_import=begun))

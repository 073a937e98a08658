"""Check a list whole before anything of it is written.

Past sales are looked at in batches. Every other row is written by the service that will write it,
all in one transaction that is then rolled back: so each refusal is the one that counts, and a row
may name what an earlier row of the same list makes.
"""

from collections.abc import Iterator, Sequence

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, ImportKind, ImportRow
from apiary_sales.imports.rows import finders, past_sales
from apiary_sales.imports.rows.writers import WRITERS, RowWriter
from apiary_sales.imports.rules.cells import Figures, read_row
from apiary_sales.imports.rules.kinds import BY_KIND, ListKind
from apiary_sales.imports.services import claims
from apiary_sales.imports.services.claims import Report
from inventory.shared import keys
from inventory.shared.errors import HouseError
from inventory.shared.people import Person

BATCH = 1_000

Told = list[list[str]]
RowRead = tuple[ImportRow, Figures]


def unreported(done: int, total: int) -> None:
    """Report progress to nobody."""


def check(*, begun: Import, checked_by: Person, report: Report = unreported) -> Import:
    """Check every row and keep what is wrong with each; return the import.

    Raises `NotAllowedNow` for an import in another state, and whatever `report` raises to stop it.
    """
    begun = claims.claim(
        begun,
        state=Import.State.CHECKING,
        states=(Import.State.UPLOADED, Import.State.CHECKED),
    )
    try:
        claims.delete_past_sales(begun)
        bad = _check_rows(begun, checked_by, report)
    except BaseException:
        claims.give_back(
            begun, state=Import.State.UPLOADED, message=_("The check was stopped before its end.")
        )
        raise
    begun.rows_bad = bad
    begun.state = Import.State.CHECKED
    begun.save(update_fields=["rows_bad", "state"])
    return begun


def _check_rows(begun: Import, checked_by: Person, report: Report) -> int:
    if begun.kind == ImportKind.PAST_SALES:
        return _check_past_sales(begun, report)
    what = BY_KIND[begun.kind]
    writing = finders.writing_of(begun)
    rows = list(begun.rows.all())
    wrong: dict[int, Told] = {}
    read: list[RowRead] = []
    for row in rows:
        try:
            read.append((row, read_row(what.columns, begun.columns, row.cells, writing)))
        except HouseError as error:
            wrong[row.pk] = told(error, what)
    wrong |= _tried(begun, what, read, checked_by)
    _keep(rows, wrong)
    report(len(rows), len(rows))
    return len(wrong)


def _tried(
    begun: Import, what: ListKind, read: Sequence[RowRead], checked_by: Person
) -> dict[int, Told]:
    """Write the rows that can be read, take all of it back, and return what was refused."""
    writer = WRITERS[begun.kind]
    wrong: dict[int, Told] = {}
    with transaction.atomic():
        writer.lock(figures for _row, figures in read)
        for row, figures in in_order(writer, read):
            try:
                with transaction.atomic():
                    writer.write(figures, checked_by, key_of(begun, row))
            except HouseError as error:
                wrong[row.pk] = told(error, what)
        transaction.set_rollback(True)
    return wrong


def _check_past_sales(begun: Import, report: Report) -> int:
    writing, own_days = finders.writing_of(begun), past_sales.own_days()
    what = BY_KIND[begun.kind]
    done = bad = 0
    for batch in batches(begun, begun.rows.all()):
        wrong: dict[int, Told] = {}
        for row in batch:
            try:
                past_sales.past_sale(
                    figures=read_row(what.columns, begun.columns, row.cells, writing),
                    of_import=begun,
                    row_number=row.number,
                    own_days=own_days,
                )
            except HouseError as error:
                wrong[row.pk] = told(error, what)
        with transaction.atomic():
            _keep(batch, wrong)
            claims.touch(begun)
        done += len(batch)
        bad += len(wrong)
        report(done, begun.rows_read)
    return bad


def batches(begun: Import, rows) -> Iterator[list[ImportRow]]:
    """Yield the rows of an import a batch at a time, each by its own question."""
    after = 0
    while batch := list(rows.filter(number__gt=after).order_by("number")[:BATCH]):
        after = batch[-1].number
        yield batch


def _keep(rows: Sequence[ImportRow], wrong: dict[int, Told]) -> None:
    """Save what is wrong with rows, where that differs from what was found before."""
    changed = []
    for row in rows:
        found = wrong.get(row.pk, [])
        if row.problems != found:
            row.problems = found
            changed.append(row)
    ImportRow.objects.bulk_update(changed, ["problems"], batch_size=200)


def in_order(writer: RowWriter, read: Sequence[RowRead]) -> list[RowRead]:
    """Return rows in the order in which they are written."""
    return sorted(read, key=lambda each: (writer.order(each[1]), each[0].number))


def key_of(begun: Import, row: ImportRow) -> str:
    """Return the key under which a row is written, for ever the same."""
    return keys.part(begun.idempotency_key, f"row {row.number}")


def told(error: HouseError, what: ListKind) -> Told:
    """Return what was refused: for each problem the name of its column, or none, and a sentence."""
    found = []
    for problem in error.problems:
        column = what.column(problem.parameter or "")
        found.append([column.name if column else "", str(problem.message)])
    return found

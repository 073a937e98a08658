"""Seal what was entered since the last seal, in batches, so that no writer waits for it."""

import time

from django.db import IntegrityError, connection, transaction
from django.db.models import Max
from django.utils import timezone
from django_tasks import task

from inventory.shared.sealable import SealedKind, kinds
from inventory.stock import seal_text
from inventory.stock.models import Seal

ROWS_OF_A_KIND = 1_000
# How long to wait for those that write at this moment; one that takes longer is sealed next time.
WAIT_SECONDS = 5.0
LOOK_AGAIN_SECONDS = 0.1
# The database of the house alone is in question, whatever its name.
WRITING = """SELECT virtualtransaction FROM pg_locks
    WHERE locktype = 'relation' AND mode = 'RowExclusiveLock' AND pid <> pg_backend_pid()
    AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
    AND relation = ANY(%s::regclass[])"""


def make(*, wait_seconds: float = WAIT_SECONDS) -> int:
    """Seal all rows of the books that are not sealed yet; return how many seals were made.

    Nobody waits: what is being written at this moment, and what has a later number than it, is
    sealed next time. Safe to run twice, and on several machines at once.
    """
    until = settled(wait_seconds)
    made = 0
    while until is not None and _make_next(until):
        made += 1
    return made


@task()
def make_soon() -> int:
    """Seal what was entered, as background work after an act such as closing a month."""
    return make()


def settled(wait_seconds: float = WAIT_SECONDS) -> dict[str, int] | None:
    """Return up to which number of each kind all rows are there for good, or are none.

    SQLite has one writer at a time, so numbers are in the order of commits. PostgreSQL gives a
    number before its row is committed: whoever has a number up to the last one that is seen held
    the table's lock for writing by then, so once those who hold it now have ended, nothing up to
    that number can still come. Who begins later gets a later number. None where one takes too long.
    """
    last = {
        kind.name: kind.model._base_manager.aggregate(last=Max("pk"))["last"] or 0
        for kind in kinds()
    }
    if connection.vendor != "postgresql":
        return last
    end = time.monotonic() + wait_seconds
    waiting = _writers()
    while waiting:
        if time.monotonic() >= end:
            return None
        time.sleep(LOOK_AGAIN_SECONDS)
        waiting &= _writers()
    return last


def _writers() -> set[str]:
    """Return the transactions of others that hold the lock for writing of a sealed table."""
    tables = [kind.model._meta.db_table for kind in kinds()]
    with connection.cursor() as cursor:
        cursor.execute(WRITING, [tables])
        return {row[0] for row in cursor.fetchall()}


def _make_next(until: dict[str, int]) -> bool:
    """Make the next seal of rows up to these numbers; tell whether there was something to seal.

    All is read and worked out before the one row is written.
    """
    before = Seal.objects.newest()
    begins = dict(before.last) if before else {}
    last, rows = dict(begins), []
    for kind in kinds():
        after = begins.get(kind.name, 0)
        end = _end_of_batch(kind, after, until[kind.name])
        found = seal_text.row_digests(kind, seal_text.VERSION, after=after, until=end)
        rows += [(kind.name, number, row) for number, row in found]
        last[kind.name] = max(after, end)
    if not rows:
        return False
    seal = Seal(
        number=before.number + 1 if before else 1,
        version=seal_text.VERSION,
        made_at=timezone.now(),
        last=last,
        rows=seal_text.as_text(rows),
        covered=(before.covered if before else 0) + len(rows),
    )
    seal.digest = seal.digest_after(before.digest if before else "")
    try:
        with transaction.atomic():
            seal.save()
    except IntegrityError:
        # Another machine was quicker; go on from its seal.
        if not Seal.objects.filter(number=seal.number).exists():
            raise
    return True


def _end_of_batch(kind: SealedKind, after: int, until: int) -> int:
    """Return the number of the last row of a kind that the next seal covers."""
    rows = kind.model._base_manager.filter(pk__gt=after, pk__lte=until).order_by("pk")
    numbers = rows.values_list("pk", flat=True)
    [*_others, end] = [after, *numbers[ROWS_OF_A_KIND - 1 : ROWS_OF_A_KIND]]
    return end if end > after else until

"""Tell of seals of the books that were there once and are gone, also where all of them are."""

from collections.abc import Iterator
from datetime import timedelta

from django.db.models import Min
from django.utils import timezone

from apiary_sales.billing.models import Entry
from apiary_sales.keeping.models import Backup
from inventory.stock import seal_text
from inventory.stock.models import Posting, Seal
from inventory.stock.models.seals import SHORT_DIGITS

# Entries are sealed each night, or soon after the next start of a machine that was off.
SEALED_WITHIN = timedelta(days=2)


def faults() -> Iterator[str]:
    """Yield a sentence where backups have noted seals that the books do not have.

    A backup notes the last seal in it, so each seal that one has noted was in these books.
    """
    noted = list(
        Backup.objects.filter(ok=True)
        .exclude(seal="")
        .order_by("-made_at", "-pk")
        .only("made_at", "seal")
    )
    if not noted:
        return
    there = {digest[:SHORT_DIGITS] for digest in Seal.objects.values_list("digest", flat=True)}
    lacking = [backup for backup in noted if seal_text.noted_digits(backup.seal) not in there]
    if lacking:
        newest = lacking[0]
        yield (
            f"The backup of {newest.made_at:%Y-%m-%d} noted a seal that these books do not have: "
            f"{newest.seal}. Seals were changed or deleted behind the program's back. So say "
            f"{len(lacking):,} of {len(noted):,} backups."
        )


def warning() -> str:
    """Say that old entries have no seal at all, which may be right; empty where there is one.

    It is no fault: a machine that was off for days has made none yet.
    """
    if Seal.objects.exists():
        return ""
    first = [
        Posting.objects.aggregate(at=Min("recorded_at"))["at"],
        Entry.objects.aggregate(at=Min("entered_at"))["at"],
    ]
    begun = min((at for at in first if at is not None), default=None)
    if begun is None or timezone.now() - begun < SEALED_WITHIN:
        return ""
    return (
        f"These books have entries since {begun:%Y-%m-%d} and no seal at all. Where the service "
        "ran at night since, or you ever noted a seal of them, the seals were deleted behind the "
        "program's back: compare the books with a backup."
    )

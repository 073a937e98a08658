"""Whether the house could lose work: when the last good backup was, and what went wrong since."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Min, QuerySet, Subquery
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.keeping.models import Backup

LATE_AFTER = timedelta(days=2)
# So many of the newest are read at once; a good one is nearly always among them.
RECENT = 30


@dataclass(frozen=True)
class BackupState:
    """What the owner needs to know of the backups."""

    last_good: Backup | None
    last_rehearsed: Backup | None
    last: Backup | None
    is_new_house: bool = False

    @property
    def is_late(self) -> bool:
        """Tell whether the last good one is older than two days, or there is none by then."""
        if self.last_good is None:
            return not self.is_new_house
        return timezone.now() - self.last_good.made_at > LATE_AFTER

    @property
    def failed(self) -> Backup | None:
        """Return the last one, where it went wrong."""
        return self.last if self.last is not None and self.last.has_failed else None

    @property
    def unrehearsed(self) -> Backup | None:
        """Return the last one, where this machine could not rehearse its restore."""
        last = self.last
        if last is None or not last.ok or last.rehearsal_ok is not None or not last.message:
            return None
        return last

    @property
    def lacks_files(self) -> Backup | None:
        """Return the last one, where attached files were missing as it was made."""
        last = self.last
        return last if last is not None and last.rehearsal_ok and last.message else None

    @property
    def warns(self) -> bool:
        last_is_wanting = (self.failed, self.unrehearsed, self.lacks_files)
        return self.is_late or any(backup is not None for backup in last_is_wanting)


def begun_asked() -> Subquery:
    """Ask when the first person came to the house, beside other questions."""
    return Subquery(User.objects.order_by("date_joined").values("date_joined")[:1])


def of_house(*, begun_at: datetime | None = None) -> BackupState:
    """Return the state of the backups: one question to the database while all goes well.

    `begun_at` is the answer to `begun_asked`, where it was asked.
    """
    recent = list(newest()[:RECENT])
    is_all = len(recent) < RECENT
    good = [backup for backup in recent if backup.is_good]
    rehearsed = [backup for backup in good if backup.rehearsal_ok]
    last_good = good[0] if good else None
    last_rehearsed = rehearsed[0] if rehearsed else None
    if not is_all:
        last_good = last_good or Backup.objects.good().first()
        last_rehearsed = last_rehearsed or Backup.objects.filter(ok=True, rehearsal_ok=True).first()
    return BackupState(
        last_good=last_good,
        last_rehearsed=last_rehearsed,
        last=recent[0] if recent else None,
        is_new_house=last_good is None and _is_new_house(begun_at),
    )


def _is_new_house(begun_at: datetime | None) -> bool:
    """Tell whether nobody has been here for two days."""
    begun_at = begun_at or User.objects.aggregate(first=Min("date_joined"))["first"]
    return begun_at is None or timezone.now() - begun_at <= LATE_AFTER


def newest() -> QuerySet[Backup]:
    """Return all backups that were made or tried, the newest first."""
    return Backup.objects.order_by("-made_at", "-pk")


def is_encrypted_at_night() -> bool:
    """Tell whether the backups of the nights are sealed with a passphrase."""
    return bool(settings.BACKUP_PASSPHRASE)

"""Whether the house could lose work: when the last good backup was, and what went wrong since."""

from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.db.models import QuerySet
from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.keeping.models import Backup

LATE_AFTER = timedelta(days=2)


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
    def warns(self) -> bool:
        return self.is_late or self.failed is not None or self.unrehearsed is not None


def of_house() -> BackupState:
    """Return the state of the backups, in a constant number of round trips."""
    begun = User.objects.order_by("date_joined").values_list("date_joined", flat=True).first()
    good = Backup.objects.good()
    return BackupState(
        last_good=good.first(),
        last_rehearsed=good.filter(rehearsal_ok=True).first(),
        last=Backup.objects.first(),
        is_new_house=begun is None or timezone.now() - begun <= LATE_AFTER,
    )


def newest() -> QuerySet[Backup]:
    """Return all backups that were made or tried, the newest first."""
    return Backup.objects.order_by("-made_at", "-pk")


def is_encrypted_at_night() -> bool:
    """Tell whether the backups of the nights are sealed with a passphrase."""
    return bool(settings.BACKUP_PASSPHRASE)

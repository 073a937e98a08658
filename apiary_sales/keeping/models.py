"""What is kept of keeping the house safe: backups, proofs, and what machines must share."""

from datetime import timedelta
from typing import ClassVar

from django.db import models
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

# One that is begun and not finished after so long was interrupted.
INTERRUPTED_AFTER = timedelta(hours=3)


class BackupQuerySet(models.QuerySet["Backup"]):
    def good(self) -> "BackupQuerySet":
        """Return those that are whole, and whose rehearsal, if there was one, went well."""
        return self.filter(ok=True).exclude(rehearsal_ok=False)


class RowChange(models.Model):
    """When a row that programs follow was changed last; the database notes it (`following.py`).

    Rows that were not changed since this is noted have none. A row has more than one where several
    people changed it at once; the latest counts.
    """

    kind = models.CharField(_("kind"), max_length=40)
    row_id = models.BigIntegerField(_("row"))
    changed_at = models.DateTimeField(_("changed"))

    class Meta:
        verbose_name = _("change of a row")
        verbose_name_plural = _("changes of rows")
        indexes: ClassVar = [
            models.Index(fields=["kind", "row_id"], name="keeping_changed_row"),
            models.Index(fields=["kind", "changed_at"], name="keeping_changed"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.row_id}"


class ProvedSeals(models.Model):
    """Up to which seal the rows of the books were compared with their seals, and when: one row.

    It names the seal by its number and its digest. Where the books do not have that seal, it tells
    nothing, and all seals are proved.
    """

    number = models.PositiveIntegerField(_("number"))
    digest = models.CharField(_("digest"), max_length=64)
    proved_at = models.DateTimeField(_("proved"), default=timezone.now)

    class Meta:
        verbose_name = _("proof of the seals")
        verbose_name_plural = _("proofs of the seals")

    def __str__(self) -> str:
        return f"{self.number} {self.proved_at:%Y-%m-%d %H:%M}"


class SharedKeyAndFiles(models.Model):
    """What the machines that serve this database must have in common: one row, on PostgreSQL.

    The hash tells whether a SECRET_KEY is the same, and nobody finds the key by it.
    """

    hashed_key = models.CharField(_("hash of the secret key"), max_length=128)
    files_mark = models.CharField(_("mark of the folder of attached files"), max_length=64)

    class Meta:
        verbose_name = _("key and files that machines share")
        verbose_name_plural = _("keys and files that machines share")

    def __str__(self) -> str:
        return self.files_mark


class Backup(models.Model):
    """One backup: where it is, what it weighs, and whether a restore of it was rehearsed."""

    class Kind(models.TextChoices):
        NIGHTLY = "nightly", _("nightly")
        BY_HAND = "by_hand", _("by hand")

    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    # The night it belongs to. It is unique, so that of several machines one makes the backup.
    night = models.DateField(_("night"), null=True, blank=True, unique=True)
    made_at = models.DateTimeField(_("made"), default=timezone.now)
    finished_at = models.DateTimeField(_("finished"), null=True, blank=True)
    ok = models.BooleanField(_("whole"), default=False)
    file = models.CharField(_("file"), max_length=1000, blank=True)
    size_bytes = models.BigIntegerField(_("size"), null=True, blank=True)
    sha256 = models.CharField(_("SHA-256"), max_length=64, blank=True)
    # The last seal of the books in it, as it is noted elsewhere.
    seal = models.CharField(_("seal of the books"), max_length=200, blank=True)
    is_encrypted = models.BooleanField(_("encrypted"), default=False)
    rehearsed_at = models.DateTimeField(_("rehearsed"), null=True, blank=True)
    rehearsal_ok = models.BooleanField(_("rehearsal went well"), null=True, blank=True)
    message = models.TextField(_("message"), blank=True)

    objects: ClassVar[models.Manager] = BackupQuerySet.as_manager()

    class Meta:
        verbose_name = _("backup")
        verbose_name_plural = _("backups")
        ordering: ClassVar = ["-made_at", "-pk"]
        permissions = [("keep_house", _("Back up, and see how the service is doing"))]

    def __str__(self) -> str:
        return self.file or f"{self.get_kind_display()} {self.made_at:%Y-%m-%d %H:%M}"

    @property
    def is_good(self) -> bool:
        return self.ok and self.rehearsal_ok is not False

    @property
    def is_interrupted(self) -> bool:
        """Tell whether it was begun and never ended, as when the machine was switched off."""
        return self.finished_at is None and timezone.now() - self.made_at > INTERRUPTED_AFTER

    @property
    def is_being_made(self) -> bool:
        return self.finished_at is None and not self.is_interrupted

    @property
    def has_failed(self) -> bool:
        return not self.is_being_made and not self.is_good

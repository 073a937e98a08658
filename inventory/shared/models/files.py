"""Papers and photos attached to lots, customers, orders and whatever else an app registers."""

import os
import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.contenttypes.fields import GenericForeignKey
from django.contrib.contenttypes.models import ContentType
from django.core.files.storage import FileSystemStorage
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

NAME_LENGTH_MAX = 120


class PrivateStorage(FileSystemStorage):
    """The folder FILES_DIR, open to the user of the service alone; no address leads into it."""

    def __init__(self) -> None:
        super().__init__(file_permissions_mode=0o600, directory_permissions_mode=0o700)

    @property
    def base_location(self) -> str:
        return str(settings.FILES_DIR)

    @property
    def location(self) -> str:
        return os.path.abspath(self.base_location)

    def _save(self, name: str, content: Any) -> str:
        folder = Path(self.location)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        folder.chmod(0o700)
        saved: str = super()._save(name, content)  # type: ignore[misc]
        return saved

    def url(self, name: str | None) -> str:
        raise ValueError("An attachment is reached through its page alone.")


def private_storage() -> PrivateStorage:
    return PrivateStorage()


def random_name(attachment: "Attachment", filename: str) -> str:
    """Return the name on disk: random, so that nothing of what was typed gets there."""
    return secrets.token_hex(16)


class AttachmentQuerySet(models.QuerySet["Attachment"]):
    def of(self, thing: models.Model) -> "AttachmentQuerySet":
        """Return the files of one thing, removed ones too, newest first."""
        return self.filter(
            content_type=ContentType.objects.get_for_model(thing), object_id=thing.pk
        ).order_by("-added_at", "-id")

    def in_use(self) -> "AttachmentQuerySet":
        return self.filter(removed_at=None)


class Attachment(models.Model):
    """A file that belongs to one thing. A removed one stays, with who removed it and when.

    The thing is found by content type and key, because what is attached to is not known here.
    """

    class Kind(models.TextChoices):
        LABORATORY = "laboratory", _("laboratory report")
        CERTIFICATE = "certificate", _("certificate")
        PHOTO = "photo", _("photo")
        OTHER = "other", _("other paper")

    content_type = models.ForeignKey(ContentType, on_delete=models.PROTECT, related_name="+")
    object_id = models.PositiveBigIntegerField()
    thing = GenericForeignKey("content_type", "object_id")
    file = models.FileField(
        _("file"), storage=private_storage, upload_to=random_name, max_length=100
    )
    name = models.CharField(_("name"), max_length=NAME_LENGTH_MAX)
    kind = models.CharField(_("kind of paper"), max_length=12, choices=Kind)
    media_type = models.CharField(_("type"), max_length=40)
    size_bytes = models.PositiveIntegerField(_("size"))
    sha256 = models.CharField(max_length=64)
    note = models.CharField(_("note"), max_length=200, blank=True)
    added_at = models.DateTimeField(_("added"), auto_now_add=True)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    removed_at = models.DateTimeField(_("removed"), null=True, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = AttachmentQuerySet.as_manager()

    class Meta:
        verbose_name = _("attached file")
        verbose_name_plural = _("attached files")
        indexes = [models.Index(fields=["content_type", "object_id"], name="attachment_thing")]
        constraints = [
            models.CheckConstraint(condition=Q(size_bytes__gt=0), name="attachment_size_gt_0"),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True, removed_by__isnull=True)
                | Q(removed_at__isnull=False, removed_by__isnull=False),
                name="attachment_removed_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_removed(self) -> bool:
        return self.removed_at is not None

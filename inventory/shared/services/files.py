"""Files attached to things, and removed again."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from typing import Any

from django.contrib.contenttypes.models import ContentType
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import attachable, checks, file_contents
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.models import Attachment
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# What somebody signed or photographed: anybody can write a text.
PAPERS = (Attachment.Kind.LABORATORY, Attachment.Kind.CERTIFICATE, Attachment.Kind.PHOTO)


@transaction.atomic
def attach(
    *,
    thing: models.Model,
    file: UploadedFile[Any],
    kind: str,
    added_by: Person,
    key: str,
    note: str = "",
) -> Attachment:
    """Keep a file with a thing that its app has registered for files, and return it.

    Raises `BadValue` for a file of a kind or size that is not accepted, that is not what its name
    or `kind` says, or that the thing has already; `AlreadyRecorded`.
    """
    attachable.of_thing(thing)
    # Of two who send the same form at the same moment, one waits here and is refused.
    type(thing)._default_manager.select_for_update().get(pk=thing.pk)
    refuse_repeat(Attachment, key)
    # One byte more than is accepted tells that there is too much.
    content = file.read(file_contents.SIZE_BYTES_MAX + 1)
    found = file_contents.examine(content, file.name or "")
    if found.media_type not in file_contents.SHOWN_INLINE and kind in PAPERS:
        raise BadValue(
            _(
                "%(name)s is plain text. A %(kind)s is a PDF or a picture. Choose “%(other)s” "
                "for it."
            )
            % {
                "name": found.name,
                "kind": Attachment.Kind(kind).label,
                "other": Attachment.Kind.OTHER.label,
            },
            parameter="kind",
        )
    digest = hashlib.sha256(content).hexdigest()
    same = Attachment.objects.of(thing).in_use().filter(sha256=digest).first()
    if same is not None:
        raise BadValue(
            _("This file is attached already, as %(name)s.") % {"name": same.name},
            parameter="file",
        )
    attachment = Attachment(
        content_type=ContentType.objects.get_for_model(thing),
        object_id=thing.pk,
        name=found.name,
        kind=kind,
        media_type=found.media_type,
        size_bytes=len(content),
        sha256=digest,
        note=note.strip(),
        added_by=added_by,
        idempotency_key=key,
    )
    attachment.file.save(found.name, ContentFile(content), save=False)
    try:
        checks.save_checked(attachment)
    except BaseException:
        # Without its row, nobody would find the file again.
        with suppress(OSError):
            attachment.file.delete(save=False)
        raise
    return attachment


@transaction.atomic
def remove(*, attachment: Attachment, removed_by: Person) -> Attachment:
    """Hide a file, with who removed it and when; the row and the file are kept.

    Raises `NotAllowedNow` for one that was removed before.
    """
    attachment = Attachment.objects.select_for_update().get(pk=attachment.pk)
    if attachment.is_removed:
        raise NotAllowedNow(_("%(name)s was removed already.") % {"name": attachment.name})
    attachment.removed_at = timezone.now()
    attachment.removed_by = removed_by
    checks.save_checked(attachment)
    return attachment


@transaction.atomic
def erase(attachment: Attachment) -> Attachment:
    """Delete a file with its name and note for good; the row says that there was one."""
    attachment = Attachment.objects.select_for_update().get(pk=attachment.pk)
    storage, kept = attachment.file.storage, attachment.file.name
    attachment.name, attachment.note = _("Erased"), ""
    attachment.removed_at = attachment.removed_at or timezone.now()
    attachment.removed_by = attachment.removed_by or attachment.added_by
    # No file: a backup or an export does not look for it.
    attachment.file.name = ""
    attachment.save()
    if kept:
        transaction.on_commit(lambda: storage.delete(kept))
    return attachment

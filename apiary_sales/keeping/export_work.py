"""The export that the owner asks for on a page: made by the worker, kept until the next one."""

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django_tasks import task

from apiary_sales.keeping import exporting
from inventory.shared.models import LongWork
from inventory.shared.people import Person
from inventory.shared.services import long_work

KIND = "export-house"
NAME = re.compile(r"honey-house-\d{8}-\d{6}\.zip")


@dataclass(frozen=True)
class KeptExport:
    """An export that can be downloaded."""

    path: Path
    made_at: datetime
    size_bytes: int


def folder() -> Path:
    return Path(settings.DATA_DIR) / "exports"


def kept() -> KeptExport | None:
    """Return the newest export on this machine, or None."""
    for path in reversed(_files()):
        found = path.stat()
        made_at = datetime.fromtimestamp(found.st_mtime, tz=timezone.get_current_timezone())
        return KeptExport(path, made_at, found.st_size)
    return None


def under_way() -> LongWork | None:
    """Return the export that is being made, or None; one that was lost with its machine is none."""
    lately = timezone.now() - long_work.SILENT_MAX
    begun = LongWork.objects.filter(kind=KIND).exclude(state__in=LongWork.ENDED)
    return begun.exclude(state=LongWork.State.WORKING, heard_at__lt=lately).first()


@transaction.atomic
def begin(*, started_by: Person) -> LongWork:
    """Ask for an export; return the one that is being made, if there is one."""
    if work := under_way():
        return work
    work = long_work.begin(kind=KIND, title=_("Export of the house"), started_by=started_by)
    make_export.enqueue(work.pk)
    return work


@task()
def make_export(work_id: int) -> None:
    """Write the export, and delete earlier ones once it is whole; it is safe to run twice."""
    with long_work.progress(work_id) as work:
        work.result_url = reverse("keeping:export")
        work.check_stop()
        earlier = _files()
        path = folder() / f"honey-house-{timezone.localtime():%Y%m%d-%H%M%S}.zip"
        made = exporting.export_house(
            path, told=lambda done, total: work.advance(done, total=total)
        )
        for old in earlier:
            if old != path:
                old.unlink(missing_ok=True)
        if made.missing:
            work.message = ngettext(
                "%(count)d attached file is missing on this machine, and so in the export.",
                "%(count)d attached files are missing on this machine, and so in the export.",
                len(made.missing),
            ) % {"count": len(made.missing)}


def delete() -> None:
    """Delete the exports that are kept on this machine."""
    for path in _files():
        path.unlink(missing_ok=True)


def _files() -> list[Path]:
    """Return the exports that are kept, oldest first."""
    return sorted(path for path in folder().glob("*.zip") if NAME.fullmatch(path.name))

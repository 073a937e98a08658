"""The file that long work made, kept for some days for who asked for it.

It is in the folder of attached files, under the number of the work, so that its name on disk has
nothing of what was typed.
"""

from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.urls import reverse
from django.utils import timezone

from inventory.shared.models import LongWork

# What was made can be made again.
KEPT = timedelta(days=14)
FOLDER = "work"


def keep(work: LongWork, name: str, content: bytes) -> str:
    """Keep a file, let go of those that are too old, and return where this one is read."""
    let_go()
    folder = _folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = folder / f"{work.pk}{Path(name).suffix}"
    path.write_bytes(content)
    path.chmod(0o600)
    return reverse("inventory:long_work_file", args=[work.pk])


def path_of(work: LongWork) -> Path | None:
    """Return the file that work made; None where there is none, or where it was let go of."""
    return next(_folder().glob(f"{work.pk}.*"), None)


def let_go() -> int:
    """Remove the files that are too old, and return how many."""
    oldest = (timezone.now() - KEPT).timestamp()
    old = [path for path in _folder().glob("*.*") if path.stat().st_mtime < oldest]
    for path in old:
        path.unlink(missing_ok=True)
    return len(old)


def _folder() -> Path:
    return Path(settings.FILES_DIR) / FOLDER

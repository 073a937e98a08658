"""Put a backup in the place of the house's data, after its books were proved beside it."""

import os
import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connections
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.keeping import archive, beside, in_use, marks, proving, snapshots
from apiary_sales.keeping.archive import Manifest
from apiary_sales.keeping.services.backups import note_restored, working_folder
from inventory.shared.errors import BadValue, NotAllowedNow

KEY_FILE = "secret_key"


@dataclass(frozen=True)
class Restored:
    """What a restore did."""

    made_at: datetime
    version: str
    # The name of the database that was there before; empty where there was none.
    old_database: str
    files: int
    # "restored", "the same", "set elsewhere" or "left out".
    key: str
    # Where a log that did not belong to the database before is kept; empty where none was there.
    torn_log: str


def restore(*, file: Path, passphrase: str = "", over_newer: bool = False) -> Restored:
    """Restore a backup, and return what was done. The service must not be running.

    Checksums, version and books are checked on a copy beside the data; only then is anything
    replaced, and the old database is kept under another name. Files that are attached come back
    beside those that are there. Raises `BadValue` and `NotAllowedNow`, and then nothing was
    replaced.
    """
    if not file.is_file():
        raise BadValue(_("There is no file %(file)s.") % {"file": file}, parameter="file")
    in_use.check_free()
    with working_folder() as folder:
        manifest = archive.extract(file, folder, passphrase)
        proving.check_version(manifest)
        # Before anything opens the database here.
        torn = snapshots.database().set_torn_log_aside(timezone.localtime())
        if not over_newer:
            _check_nothing_newer(manifest)
        now = timezone.localtime()
        with proving.proved(manifest, folder) as proved:
            if not over_newer:
                _check_went_on_from_here(proved)
            files = _bring_back_files(folder / archive.FILES, now)
            old = snapshots.database().swap(proved, now)
        key = _bring_back_key(folder / archive.SECRET_KEY, now)
    note_restored(
        made_at=manifest.moment,
        file=file,
        is_encrypted=archive.needs_passphrase(file),
        seal=manifest.seal,
    )
    return Restored(
        made_at=manifest.moment,
        version=manifest.version,
        old_database=old,
        files=files,
        key=key,
        torn_log=torn,
    )


def _check_nothing_newer(manifest: Manifest) -> None:
    try:
        found = marks.newer(marks.read(), manifest.marks)
    except DatabaseError as error:
        raise NotAllowedNow(
            _(
                "The database here can't be read (%(reason)s), so nobody can tell whether it has "
                "newer entries. To restore all the same, add --over-newer: it is kept under "
                "another name."
            )
            % {"reason": " ".join(str(error).split())}
        ) from error
    finally:
        connections.close_all()
    if found:
        raise NotAllowedNow(
            _(
                "The database here has entries that this backup of %(day)s does not have "
                "(%(what)s). To restore all the same, add --over-newer: the database here is then "
                "kept under another name."
            )
            % {
                "day": f"{timezone.localtime(manifest.moment):%Y-%m-%d %H:%M}",
                "what": "; ".join(marks.words(found)[:5]),
            }
        )


def _check_went_on_from_here(name: str) -> None:
    """Raise `NotAllowedNow` unless the copy has the last entries of the database here.

    Numbers alone don't tell: another house counts from one too, and so does the same house that
    went on after an earlier restore.
    """
    last = marks.last_entries()
    try:
        with beside.opened(name) as copy:
            is_known = all(marks.has_entry(entry, copy) for entry in last)
    finally:
        connections.close_all()
    if not is_known:
        raise NotAllowedNow(
            _(
                "The last entries of the database here are not in this backup: it is of another "
                "house, or the two went on apart. To restore all the same, add --over-newer: the "
                "database here is then kept under another name."
            )
        )


def _bring_back_files(source: Path, now: datetime) -> int:
    """Put attached files back; one of another content under the same name is kept beside it."""
    target = Path(settings.FILES_DIR)
    count = 0
    for path in sorted(source.rglob("*")) if source.exists() else ():
        if not path.is_file():
            continue
        count += 1
        place = target / path.relative_to(source)
        if place.exists():
            if archive.digest_of(place) == archive.digest_of(path):
                continue
            place.rename(snapshots.kept_beside(place, now))
        place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        shutil.copyfile(path, place)
        place.chmod(0o600)
    return count


def _bring_back_key(source: Path, now: datetime) -> str:
    """Put the secret key back where this machine keeps its own in a file."""
    if not source.exists():
        return "left out"
    key = source.read_text()
    if key == settings.SECRET_KEY:
        return "the same"
    place = Path(settings.DATA_DIR) / KEY_FILE
    if os.environ.get("SECRET_KEY") or not place.exists():
        return "set elsewhere"
    place.rename(snapshots.kept_beside(place, now))
    place.touch(mode=0o600)
    place.write_text(key)
    return "restored"

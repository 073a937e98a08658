"""Make a backup, rehearse its restore, and let old ones go."""

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales import __version__
from apiary_sales.keeping import archive, attached, in_use, marks, proving, sealing, snapshots
from apiary_sales.keeping.archive import Manifest
from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.rules.aging import AgingCopy, aged_out
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow
from inventory.shared.services.long_work import Stopped
from inventory.stock.models import Seal
from inventory.stock.services import seals

# The time is UTC, so that names are in order on the night when clocks go back.
_NAME = re.compile(r"honey-(\d{8}T\d{6})Z(?:-\d+)?\.tar\.gz(?:\.sealed)?")
_UNFINISHED, _UNPACKED = ".unfinished", ".unpacked-"

Tell = Callable[[str], None]


def default_folder() -> Path:
    """Return where backups go unless one says otherwise."""
    return Path(settings.BACKUP_DIR)


def claim(*, night: date) -> Backup | None:
    """Begin the backup of a night, or return None where it was begun already, maybe elsewhere.

    One that was interrupted is begun again.
    """
    try:
        with transaction.atomic():
            return Backup.objects.create(kind=Backup.Kind.NIGHTLY, night=night)
    except IntegrityError:
        known = Backup.objects.get(night=night)
    if not known.is_interrupted:
        return None
    now = timezone.now()
    again = Backup.objects.filter(pk=known.pk, finished_at=None, made_at=known.made_at)
    if not again.update(made_at=now):
        return None
    known.made_at = now
    return known


def make(
    *,
    folder: Path | None = None,
    passphrase: str = "",
    begun: Backup | None = None,
    tell: Tell = lambda step: None,
) -> Backup:
    """Make a backup into a folder and return its row; old ones in that folder age out.

    It may be made while people work: it holds what was committed when it began. With a passphrase
    the file is sealed and holds the secret key too; without one the key stays out, since whoever
    has it can sign in as anybody. Raises `HouseError` and `OSError`; a failure is in its row.
    """
    if passphrase:
        sealing.check_passphrase(passphrase)
    backup = begun or Backup.objects.create(kind=Backup.Kind.BY_HAND)
    try:
        seals.make()
        seal = Seal.objects.newest()
        path = _write(folder or default_folder(), backup.made_at, passphrase, seal, tell)
    except BaseException as error:
        _fail(backup, error)
        raise
    backup.sha256 = archive.digest_of(path)
    backup.file, backup.size_bytes = str(path), path.stat().st_size
    backup.is_encrypted = bool(passphrase)
    backup.seal = str(seal or "")
    backup.ok, backup.finished_at, backup.message = True, timezone.now(), ""
    backup.save()
    age_out(folder=path.parent)
    return backup


def rehearse(*, backup: Backup, passphrase: str = "") -> Backup:
    """Restore a backup beside the house's data, prove its books, remove that again, and note it.

    Nothing of the house is changed. What went wrong is in `message`; nothing is raised for it.
    Where this machine can't rehearse, for want of room or rights, the backup may still be good:
    `rehearsal_ok` stays None. A backup that lacks attached files stays good, and names them there.
    """
    try:
        with working_folder() as folder:
            manifest = archive.extract(Path(backup.file), folder, passphrase)
            with proving.proved(manifest, folder) as database:
                lacking = attached.lacking(database, manifest)
    except (NotAllowedNow, OSError) as error:
        backup.rehearsal_ok, backup.message = None, _said(error)
    except HouseError as error:
        backup.rehearsal_ok, backup.message = False, _said(error)
    else:
        backup.rehearsal_ok, backup.message = True, attached.words(lacking)
    backup.rehearsed_at = None if backup.rehearsal_ok is None else timezone.now()
    backup.save(update_fields=["rehearsed_at", "rehearsal_ok", "message"])
    return backup


def note_restored(*, made_at: datetime, file: Path, is_encrypted: bool, seal: str) -> None:
    """Mark a backup that was just restored as whole and proved, in the database that came from it.

    That holds its own backup as unfinished: it was copied while the backup was being made. `seal`
    is the digest of the last seal in it, or empty.
    """
    now = timezone.now()
    Backup.objects.filter(made_at=made_at, finished_at=None).update(
        finished_at=now,
        ok=True,
        file=str(file),
        size_bytes=file.stat().st_size,
        sha256=archive.digest_of(file),
        is_encrypted=is_encrypted,
        seal=str(Seal.objects.filter(digest=seal).first() or ""),
        rehearsed_at=now,
        rehearsal_ok=True,
        message="",
    )


def age_out(*, folder: Path) -> list[str]:
    """Remove the backups in a folder that have had their time; return their names."""
    bad = {Path(name).name for name in _file_names_that_are_not_good()}
    copies = [
        AgingCopy(path.name, made_at, is_good=path.name not in bad)
        for path in folder.iterdir()
        if (made_at := _made_at(path.name))
    ]
    removed = aged_out(copies, timezone.localtime())
    for name in removed:
        (folder / name).unlink(missing_ok=True)
    return removed


def newest_file(folder: Path) -> Path | None:
    """Return the file of the newest backup in a folder, as their names tell, or None."""
    if not folder.is_dir():
        return None
    made = {path: at for path in folder.iterdir() if (at := _made_at(path.name))}
    return max(made, key=lambda path: (made[path], path.name), default=None)


@contextmanager
def working_folder() -> Iterator[Path]:
    """Yield a folder of the house's own for what is unpacked; it is removed at the end."""
    settings.DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory(prefix=_UNPACKED, dir=settings.DATA_DIR) as name,
        in_use.marked(Path(name)),
    ):
        yield Path(name)


def _write(folder: Path, made_at: datetime, passphrase: str, seal: Seal | None, tell: Tell) -> Path:
    """Write the file under another name, and give it its own when all of it is on the disk."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    _remove_unfinished(folder)
    ending = ".tar.gz.sealed" if passphrase else ".tar.gz"
    path = _free_name(folder, f"honey-{made_at.astimezone(ZoneInfo('UTC')):%Y%m%dT%H%M%S}Z", ending)
    unfinished = folder / f".{path.name}.{os.getpid()}{_UNFINISHED}"
    try:
        with working_folder() as work:
            copy = work / archive.DATABASE
            # Before the copy: what is entered in between then counts as newer than it.
            manifest = _manifest(made_at, seal)
            tell(_("The database is copied."))
            snapshots.database().copy_to(copy)
            tell(_("The file is written."))
            handle = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as target, in_use.marked(unfinished):
                archive.write(target, manifest, _contents(copy, passphrase, work), passphrase)
                target.flush()
                os.fsync(target.fileno())
                unfinished.rename(path)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise
    return path


def _contents(copy: Path, passphrase: str, folder: Path) -> Iterator[tuple[str, Path]]:
    """Yield what goes into the archive. Files come after the database, whose rows name them."""
    yield archive.DATABASE, copy
    copy.unlink()
    files = Path(settings.FILES_DIR)
    for path in sorted(files.rglob("*")) if files.exists() else ():
        if path.is_file() and not path.is_symlink():
            yield f"{archive.FILES}/{path.relative_to(files).as_posix()}", path
    if passphrase:
        key = folder / archive.SECRET_KEY
        key.write_text(settings.SECRET_KEY)
        yield archive.SECRET_KEY, key


def _manifest(made_at: datetime, seal: Seal | None) -> Manifest:
    applied = MigrationRecorder(connection).applied_migrations()
    return Manifest(
        version=__version__,
        made_at=made_at.isoformat(),
        vendor=connection.vendor,
        migrations=sorted(list(name) for name in applied),
        marks=marks.read(),
        seal=seal.digest if seal else "",
    )


def _free_name(folder: Path, stem: str, ending: str) -> Path:
    path, number = folder / f"{stem}{ending}", 2
    while path.exists():
        path, number = folder / f"{stem}-{number}{ending}", number + 1
    return path


def _remove_unfinished(folder: Path) -> None:
    """Remove what a backup or a restore that was interrupted has left.

    What its process no longer holds goes at once; the rest, which nobody holds, a day later.
    """
    held = [
        *folder.glob(f".honey-*{_UNFINISHED}"),
        *Path(settings.DATA_DIR).glob(f"{_UNPACKED}*"),
    ]
    for path in (*held, *Path(settings.DATA_DIR).glob("*.sqlite3.beside-*")):
        try:
            is_old = timezone.now().timestamp() - path.stat().st_mtime >= 24 * 60 * 60
            if not is_old and not (path in held and in_use.was_left(path)):
                continue
        except FileNotFoundError:
            # It was finished meanwhile.
            continue
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _made_at(name: str) -> datetime | None:
    found = _NAME.fullmatch(name)
    if not found:
        return None
    return timezone.localtime(
        datetime.strptime(found[1], "%Y%m%dT%H%M%S").replace(tzinfo=ZoneInfo("UTC"))
    )


def _file_names_that_are_not_good() -> list[str]:
    return list(Backup.objects.filter(rehearsal_ok=False).values_list("file", flat=True))


def _fail(backup: Backup, error: BaseException) -> None:
    if isinstance(error, Stopped):
        # Somebody wanted no backup now: nothing went wrong.
        backup.delete()
        return
    backup.finished_at, backup.ok, backup.message = timezone.now(), False, _said(error)
    backup.save()


def _said(error: BaseException) -> str:
    if isinstance(error, HouseError):
        return error.message
    if isinstance(error, OSError):
        return _("The file could not be written or read: %(reason)s") % {"reason": error}
    return str(error) or type(error).__name__


def check_file(backup: Backup) -> Path:
    """Return the file of a backup; raises `BadValue` where it is not on this machine."""
    path = Path(backup.file)
    if not backup.file or not path.is_file():
        raise BadValue(
            _(
                "This file is no longer on this machine: it has aged out, was moved, or is on "
                "another machine."
            ),
            parameter="backup",
        )
    return path

"""The one file that a backup is: a tar archive, compressed, and sealed where asked for.

It holds the database, the attached files below `files/`, the secret key where the archive is
sealed, and last `manifest.json`, which names each of them with its size and SHA-256. An archive
without it was not written to its end.
"""

import gzip
import hashlib
import io
import json
import tarfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import IO, Any, BinaryIO, cast

from django.utils.translation import gettext as _

from apiary_sales.keeping.sealing import Opener, Sealer, is_sealed
from inventory.shared.errors import BadValue

FORMAT = 2
MANIFEST, DATABASE, SECRET_KEY, FILES = "manifest.json", "database", "secret_key", "files"
MANIFEST_MAX = 50_000_000
# The fastest: photos and papers are compressed already, and a database shrinks well at any level.
COMPRESSION = 1
CHUNK = 1024 * 1024


@dataclass(frozen=True)
class Member:
    """One file in the archive."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Manifest:
    """What an archive holds, and of what house at what time it is."""

    version: str
    made_at: str
    vendor: str
    migrations: list[list[str]]
    # The highest number of each table, by which a later restore tells whether there is newer data.
    marks: dict[str, int]
    members: list[Member] = field(default_factory=list)
    # The digest of the last seal of the books; empty of books without one, and in format 1.
    seal: str = ""
    format: int = FORMAT

    @property
    def moment(self) -> datetime:
        return datetime.fromisoformat(self.made_at)


class _Digesting:
    """A file to read from, which takes the SHA-256 of what is read."""

    def __init__(self, source: IO[bytes]) -> None:
        self._source = source
        self.digest = hashlib.sha256()
        self.size = 0

    def read(self, size: int = -1) -> bytes:
        content = self._source.read(size)
        self.digest.update(content)
        self.size += len(content)
        return content


def write(
    target: BinaryIO, manifest: Manifest, contents: Iterable[tuple[str, Path]], passphrase: str = ""
) -> Manifest:
    """Write an archive of these files, and return its manifest with all members."""
    sealer = Sealer(target, passphrase) if passphrase else None
    with (
        gzip.GzipFile(
            filename="",
            mode="wb",
            fileobj=cast(BinaryIO, sealer or target),
            mtime=0,
            compresslevel=COMPRESSION,
        ) as zipped,
        tarfile.open(mode="w|", fileobj=zipped) as archive,
    ):
        for name, path in contents:
            manifest.members.append(_add(archive, name, path))
        text = json.dumps(asdict(manifest), indent=1).encode()
        info = tarfile.TarInfo(MANIFEST)
        info.size, info.mode = len(text), 0o600
        archive.addfile(info, io.BytesIO(text))
    if sealer:
        sealer.end()
    return manifest


def _add(archive: tarfile.TarFile, name: str, path: Path) -> Member:
    with path.open("rb") as source:
        info = tarfile.TarInfo(name)
        info.size, info.mode = path.stat().st_size, 0o600
        info.mtime = int(path.stat().st_mtime)
        digesting = _Digesting(source)
        archive.addfile(info, cast(IO[bytes], digesting))
    return Member(name, digesting.size, digesting.digest.hexdigest())


def needs_passphrase(path: Path) -> bool:
    """Tell whether an archive is sealed."""
    with path.open("rb") as source:
        return is_sealed(source)


def extract(path: Path, folder: Path, passphrase: str = "") -> Manifest:
    """Unpack an archive into an empty folder, check every byte of it, and return its manifest.

    Raises `BadValue` for what is no backup, is damaged, or is sealed by another passphrase.
    """
    found: dict[str, Member] = {}
    with path.open("rb") as source:
        opened: Any = source
        if is_sealed(source):
            if not passphrase:
                raise BadValue(
                    _("This backup is encrypted: give its passphrase."), parameter="passphrase"
                )
            opened = Opener(source, passphrase)
        try:
            with tarfile.open(mode="r|gz", fileobj=opened) as archive:
                for info in archive:
                    found[info.name] = _take_out(archive, info, folder)
        except (tarfile.TarError, EOFError, OSError) as error:
            if isinstance(error, OSError) and error.errno is not None:
                # The disk is full, or the file can't be read.
                raise
            raise BadValue(
                _("%(file)s is no backup of this service, or is damaged.") % {"file": path.name},
                parameter="file",
            ) from error
    manifest = _read_manifest(folder / MANIFEST, path)
    found.pop(MANIFEST)
    if found != {member.name: member for member in manifest.members} or DATABASE not in found:
        raise BadValue(
            _("%(file)s does not hold what its list of checksums says: it is damaged.")
            % {"file": path.name},
            parameter="file",
        )
    return manifest


def _take_out(archive: tarfile.TarFile, info: tarfile.TarInfo, folder: Path) -> Member:
    parts = PurePosixPath(info.name).parts
    source = archive.extractfile(info) if info.isreg() else None
    if source is None or info.name.startswith("/") or ".." in parts:
        raise BadValue(
            _("The archive holds %(name)s, which no backup of this service does.")
            % {"name": info.name},
            parameter="file",
        )
    target = folder.joinpath(*parts)
    target.parent.mkdir(parents=True, exist_ok=True)
    digesting = _Digesting(source)
    with target.open("xb") as written:
        while content := digesting.read(CHUNK):
            written.write(content)
    return Member(info.name, digesting.size, digesting.digest.hexdigest())


def _read_manifest(path: Path, archive: Path) -> Manifest:
    try:
        if path.stat().st_size > MANIFEST_MAX:
            raise ValueError
        values = json.loads(path.read_bytes())
        if values["format"] > FORMAT:
            raise BadValue(
                _("%(file)s was made by a later version of the service: %(version)s. Install it.")
                % {"file": archive.name, "version": values["version"]},
                parameter="file",
            )
        members = [Member(**member) for member in values.pop("members")]
        return Manifest(members=members, **values)
    except FileNotFoundError:
        raise BadValue(
            _("%(file)s is not whole: its list of checksums is missing.") % {"file": archive.name},
            parameter="file",
        ) from None
    except (ValueError, KeyError, TypeError):
        raise BadValue(
            _("The list of checksums in %(file)s can't be read.") % {"file": archive.name},
            parameter="file",
        ) from None


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, however large."""
    with path.open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()

"""Static files: as they lie in the apps, or as `manage.py serve` sends them.

`serve` gives those of the house's own apps names with a digest of what is in them, so that a
browser may keep them for a year, and compresses them once. They are in `static/` in DATA_DIR, in a
folder for each state of the sources. Everywhere else, in tests and with another server, files keep
their plain names and nothing is to be collected first. So do those of libraries.
"""

import hashlib
import os
import shutil
from importlib.metadata import version
from pathlib import Path
from tempfile import mkdtemp
from typing import Any, cast

from django.apps import apps
from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.finders import AppDirectoriesFinder
from django.contrib.staticfiles.storage import StaticFilesStorage, staticfiles_storage
from whitenoise.storage import CompressedManifestStaticFilesStorage

# With other versions of these, other files come out of the same sources.
MADE_BY = ("django", "whitenoise", "brotli")
# That of a service that is being replaced and may still answer.
FOLDERS_KEPT = 2


class StaticFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Static files by their plain names, until `use` is told of a folder with others."""

    # Scripts import each other by the new names too.
    support_js_module_import_aggregation = True
    keep_only_hashed_files = True

    def __init__(self, *args: Any, **options: Any) -> None:
        self.folder: Path | None = None
        super().__init__(*args, **options)

    def load_manifest(self) -> tuple[dict[str, str], str]:
        return super().load_manifest() if self.folder else ({}, "")

    def use(self, folder: Path) -> None:
        """Name files from now on as they are in a folder that `write` has filled."""
        self.folder = folder
        self.location = self.base_location = str(folder)
        self.hashed_files, self.manifest_hash = self.load_manifest()

    def write(self) -> None:
        """Write all files of the house's own apps under their new names, compressed too.

        Raises `OSError`.
        """
        sources = {}
        for name, storage in _sources():
            with storage.open(name) as file:
                self._save(name, file)
            sources[name] = (self, name)
        for name, _new_name, processed in self.post_process(sources):
            if isinstance(processed, Exception):
                raise ValueError(f"The static file {name} can't be served.") from processed

    def url(self, name: str | None, force: bool = False) -> str:
        if name and self.hash_key(self.clean_name(name)) in self.hashed_files:
            return str(super().url(name, force))
        return StaticFilesStorage.url(self, name)

    def file_of(self, name: str) -> Path:
        """Return the file that is sent at `url(name)`. Raises `FileNotFoundError`."""
        if self.url(name) != StaticFilesStorage.url(self, name):
            return Path(self.path(self.stored_name(name)))
        found = finders.find(name)
        if not isinstance(found, str):
            raise FileNotFoundError(name)
        return Path(found)


def storage() -> StaticFiles:
    """Return where the pages have the addresses of their files from."""
    return cast(StaticFiles, staticfiles_storage)


def written() -> Path:
    """Return the folder for this state of the sources, written if need be. Raises `OSError`."""
    parent = settings.DATA_DIR / "static"
    folder = parent / _digest_of_sources()
    if not folder.exists():
        parent.mkdir(parents=True, exist_ok=True)
        made = Path(mkdtemp(dir=parent, prefix="making-"))
        try:
            StaticFiles(location=str(made), file_permissions_mode=0o600).write()
            os.rename(made, folder)
        except OSError:
            # Another process that starts at the same time may have been first.
            if not folder.exists():
                raise
        finally:
            shutil.rmtree(made, ignore_errors=True)
        _remove_older(parent)
    return folder


def _remove_older(parent: Path) -> None:
    newest_first = sorted(parent.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for folder in newest_first[FOLDERS_KEPT:]:
        shutil.rmtree(folder, ignore_errors=True)


def _sources() -> list[tuple[str, Any]]:
    """Return the name of each file of the house's own apps, and what opens it."""
    own = [
        app.name
        for app in apps.get_app_configs()
        if (settings.BASE_DIR / app.name.partition(".")[0]).is_dir()
    ]
    return sorted(AppDirectoriesFinder(app_names=own).list([]), key=lambda source: source[0])


def _digest_of_sources() -> str:
    digest = hashlib.sha256()
    for library in MADE_BY:
        digest.update(f"{library} {version(library)}\n".encode())
    for name, storage in _sources():
        content = Path(storage.path(name)).read_bytes()
        digest.update(f"{name} {hashlib.sha256(content).hexdigest()}\n".encode())
    return digest.hexdigest()[:16]

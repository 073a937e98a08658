"""Tell whether the service is running on the data here, and who is still at a file.

`manage.py serve` holds a lock on a file in DATA_DIR as long as it runs, and who writes a file or
folder one on that; the system lets go of it whatever way the process ends.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from inventory.shared.errors import NotAllowedNow

NAME = "serving.lock"


@contextmanager
def held() -> Iterator[None]:
    """Say that the service is running, from entering to leaving."""
    with (settings.DATA_DIR / NAME).open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_SH)
        yield


def check_free() -> None:
    """Raise `NotAllowedNow` while the service is running."""
    settings.DATA_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    with (settings.DATA_DIR / NAME).open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise NotAllowedNow(
                _("The service is running: stop it first. Nothing was changed.")
            ) from error


@contextmanager
def marked(path: Path) -> Iterator[None]:
    """Say that somebody is at this file or folder, from entering to leaving."""
    handle = os.open(path, os.O_RDONLY)
    try:
        # Some disks of the network know no locks.
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(handle)


def was_left(path: Path) -> bool:
    """Tell whether the process that was at this file or folder is gone, as far as one can know.

    A number of a process would not tell: another machine, or another process, may have the same.
    """
    handle = os.open(path, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True

"""Tell whether the service is running on the data of this machine.

`manage.py serve` holds a lock on a file in DATA_DIR as long as it runs; the system lets go of it
whatever way the process ends.
"""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager

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

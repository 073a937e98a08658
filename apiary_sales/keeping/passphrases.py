"""Where commands get a passphrase from: a file, the settings, or whoever sits at the keyboard."""

import sys
from getpass import getpass
from pathlib import Path

from django.conf import settings
from django.utils.translation import gettext as _

from inventory.shared.errors import BadValue


def find(file: str | None, *, again: bool) -> str:
    """Return the passphrase; `again` asks for it twice. Raises `BadValue`.

    It is never an argument of a command: other users of the machine see those.
    """
    if file:
        try:
            return Path(file).read_text(encoding="utf-8").strip()
        except OSError as error:
            raise BadValue(
                _("The passphrase can't be read: %(reason)s") % {"reason": error},
                parameter="passphrase",
            ) from error
    if settings.BACKUP_PASSPHRASE:
        return str(settings.BACKUP_PASSPHRASE)
    if not sys.stdin.isatty():
        raise BadValue(
            _("Set BACKUP_PASSPHRASE, or give the passphrase in a file: --passphrase-file FILE."),
            parameter="passphrase",
        )
    typed = getpass(_("Passphrase: "))
    if again and getpass(_("Passphrase again: ")) != typed:
        raise BadValue(_("The two passphrases differ."), parameter="passphrase")
    return typed

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from apiary_sales.keeping import archive, passphrases
from apiary_sales.keeping.services import restoring
from apiary_sales.keeping.services.restoring import Restored
from inventory.shared.errors import HouseError

KEY = {
    "restored": "The secret key was restored; the one before is kept beside it.",
    "the same": "The secret key is the same.",
    "set elsewhere": "SECRET_KEY is set to another key than the backup has: all sign in again.",
    "left out": "The backup holds no secret key. On another machine everybody signs in again.",
}


class Command(BaseCommand):
    help = "Put a backup in the place of the data, after its books were proved beside it."
    # The database may be missing, damaged or of an earlier version.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="A file that manage.py backup has made.")
        parser.add_argument(
            "--over-newer",
            action="store_true",
            help="Restore although the database here has newer entries; it is kept.",
        )
        parser.add_argument(
            "--passphrase-file", metavar="FILE", help="Read the passphrase from this file."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        file = Path(options["file"]).expanduser().absolute()
        try:
            sealed = file.is_file() and archive.needs_passphrase(file)
            passphrase = passphrases.find(options["passphrase_file"], again=False) if sealed else ""
            done = restoring.restore(
                file=file, passphrase=passphrase, over_newer=options["over_newer"]
            )
        except HouseError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"The backup could not be restored: {error}") from error
        self._say(done)

    def _say(self, done: Restored) -> None:
        made_at = timezone.localtime(done.made_at)
        self.stdout.write(f"Checksums and books are right: backup of {made_at:%Y-%m-%d %H:%M}")
        self.stdout.write(f"Restored the database and {done.files:,} files.")
        if done.old_database:
            self.stdout.write(f"The database before is kept as {done.old_database}")
        if done.torn_log:
            self.stdout.write(
                "A log was beside that database which did not belong to it. It is kept as "
                f"{done.torn_log}"
            )
        self.stdout.write(KEY[done.key])

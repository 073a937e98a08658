from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from apiary_sales.keeping import passphrases
from apiary_sales.keeping.services import backups
from inventory.shared.errors import HouseError


class Command(BaseCommand):
    help = "Back up the database and the attached files into one file, while people work."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--to", metavar="FOLDER", help="Write into this folder.")
        parser.add_argument(
            "--encrypt",
            action="store_true",
            help="Seal the file with a passphrase: BACKUP_PASSPHRASE, a file, or typed.",
        )
        parser.add_argument(
            "--passphrase-file", metavar="FILE", help="Read the passphrase from this file."
        )
        parser.add_argument(
            "--rehearse", action="store_true", help="Restore it beside the data and prove it."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            passphrase = ""
            if options["encrypt"]:
                passphrase = passphrases.find(options["passphrase_file"], again=True)
            folder = Path(options["to"]).expanduser().absolute() if options["to"] else None
            made = backups.make(folder=folder, passphrase=passphrase)
            self.stdout.write(f"Backed up to {made.file} ({made.size_bytes:,} bytes)")
            self.stdout.write(f"SHA-256 {made.sha256}")
            if options["rehearse"]:
                self._rehearse(made, passphrase)
        except HouseError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"The backup could not be written: {error}") from error
        except DatabaseError as error:
            reason = " ".join(str(error).split())
            raise CommandError(
                f"The database can't be read or written ({reason}). No backup was made. Is the "
                "disk of DATA_DIR full? Then make room first."
            ) from error
        self.stdout.write(
            "It holds the secret key: keep the passphrase elsewhere, without it nobody can open it."
            if passphrase
            else "The secret key is left out, since the file is not encrypted; after a restore on "
            "another machine everybody signs in again."
        )

    def _rehearse(self, made: Any, passphrase: str) -> None:
        backups.rehearse(backup=made, passphrase=passphrase)
        if not made.rehearsal_ok:
            raise CommandError(f"The rehearsal of a restore failed: {made.message}")
        self.stdout.write("A restore of it was rehearsed: its books are right.")
        if made.message:
            self.stderr.write(made.message)

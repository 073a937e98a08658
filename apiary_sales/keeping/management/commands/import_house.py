from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apiary_sales.accounts.models import User
from apiary_sales.keeping import bringing_in


class Command(BaseCommand):
    help = "Bring an export of a house into an empty database, and prove its books."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="The zip file that export_house wrote.")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        if not path.is_file():
            raise CommandError(f"{path} is not there.")
        call_command("migrate", interactive=False, verbosity=0)
        try:
            made = bringing_in.import_house(path)
        except bringing_in.CannotBringIn as error:
            raise CommandError(f"{error} Nothing was changed.") from error
        self.stdout.write(
            f"The house of {made.made_at} is here: {made.rows:,} rows and {made.files:,} attached "
            "files. The books are right, and add up to what the export says."
        )
        for name in made.missing:
            self.stderr.write(
                f"The attached file {name} was missing in the house that was exported."
            )
        if made.time_zone != settings.TIME_ZONE:
            self.stdout.write(
                f"That house had TIME_ZONE={made.time_zone}, this one has {settings.TIME_ZONE}: "
                "set it, so that every day begins when it did."
            )
        owner = User.objects.filter(role=User.Role.OWNER, is_active=True).order_by("pk").first()
        name = owner.username if owner else "NAME"
        self.stdout.write(
            "Passwords do not come along. Give the owner a new one with "
            f"manage.py set_password {name}, and the others theirs in Settings, People."
        )

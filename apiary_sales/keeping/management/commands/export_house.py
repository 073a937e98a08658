from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apiary_sales.keeping import exporting


class Command(BaseCommand):
    help = "Write the whole house into one zip file that is readable without the program."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="The file to write, for example house.zip.")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        if path.exists():
            raise CommandError(f"{path} is there already and is left alone: choose another name.")
        try:
            made = exporting.export_house(path)
        except OSError as error:
            raise CommandError(f"{path} can't be written: {error.strerror}.") from error
        self.stdout.write(
            f"{path}: {made.rows:,} rows and {made.files:,} attached files. Its README.txt says "
            "what each table is. Passwords are not in it, names and addresses are: keep it safe."
        )
        for name in made.missing:
            self.stderr.write(f"The attached file {name} is not in FILES_DIR, and so is left out.")

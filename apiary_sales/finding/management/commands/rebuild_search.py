from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from apiary_sales.finding import engine
from apiary_sales.finding.services import index


class Command(BaseCommand):
    help = "Make the index of “Find anything” anew, while the house works on."

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "--check", action="store_true", help="Change nothing; fail on any entry that is wrong."
        )

    def handle(self, *args, **options) -> None:
        if options["check"]:
            self._check()
            return
        count = index.rebuild(tell=self.stdout.write)
        self.stdout.write(f"{count:,} things can be found.")
        if not engine.is_there(connection):
            lacking = (
                "SQLite has no FTS5 here: use a Python with SQLite 3.34 or newer."
                if connection.vendor == "sqlite"
                else "PostgreSQL has no pg_trgm: let its administrator run "
                "CREATE EXTENSION pg_trgm; in this database."
            )
            self.stderr.write(
                f"Parts of words are found slowly. {lacking} Then run this command again."
            )

    def _check(self) -> None:
        faults = index.differences()
        for fault in faults:
            self.stderr.write(fault)
        if faults:
            raise CommandError(f"{len(faults)} entries are wrong. Run manage.py rebuild_search.")
        self.stdout.write("Everything can be found as it is.")

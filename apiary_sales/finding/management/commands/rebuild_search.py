from django.core.management.base import BaseCommand
from django.db import connection

from apiary_sales.finding import engine
from apiary_sales.finding.services import index


class Command(BaseCommand):
    help = "Make the index of “Find anything” anew, while the house works on."

    def handle(self, *args, **options) -> None:
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

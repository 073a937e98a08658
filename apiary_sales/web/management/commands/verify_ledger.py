from django.core.management.base import BaseCommand, CommandError

from apiary_sales.keeping import books
from inventory.stock.models import Posting, PostingLine


class Command(BaseCommand):
    help = "Check stock, reservations and money against their lines; fail on any difference."

    def handle(self, *args, **options) -> None:
        faults = list(books.faults())
        for fault in faults:
            self.stderr.write(fault)
        if faults:
            raise CommandError(
                f"{len(faults)} faults. Stop working in the program, keep a copy of the database, "
                "and restore the last backup that passes."
            )
        self.stdout.write(
            f"The books are right: {Posting.objects.count():,} postings with "
            f"{PostingLine.objects.count():,} lines prove every balance."
        )

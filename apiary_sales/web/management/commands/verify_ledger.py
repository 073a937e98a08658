from django.core.management.base import BaseCommand, CommandError

from apiary_sales.billing.queries import books as money_books
from apiary_sales.billing.queries import journal, purchase_books
from apiary_sales.orders.queries import books as order_books
from inventory.stock.models import Posting, PostingLine
from inventory.stock.queries import books as stock_books


class Command(BaseCommand):
    help = "Check stock, reservations and money against their lines; fail on any difference."

    def handle(self, *args, **options) -> None:
        faults = [
            *stock_books.faults(),
            *order_books.faults(),
            *money_books.faults(),
            *purchase_books.faults(),
            *journal.faults(),
        ]
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

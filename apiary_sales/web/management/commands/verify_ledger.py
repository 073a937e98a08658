from django.core.management.base import BaseCommand, CommandError

from apiary_sales.keeping import books, triggers
from apiary_sales.keeping.queries import noted_seals
from inventory.stock.models import Posting, PostingLine, Seal
from inventory.stock.queries import seals as sealed
from inventory.stock.services import seals


class Command(BaseCommand):
    help = (
        "Check stock, reservations and money against their lines, and the books against their "
        "seals; fail on any difference. What is right is sealed."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "--seal",
            metavar="TEXT",
            help="a seal that you noted, as it was printed: tell whether the books still have it",
        )

    def handle(self, *args, **options) -> None:
        faults = [*books.faults(), *triggers.faults(), *noted_seals.faults()]
        if options["seal"]:
            faults += self._of_noted(options["seal"])
        for fault in faults:
            self.stderr.write(fault)
        if warning := noted_seals.warning():
            self.stderr.write(warning)
        if faults:
            raise CommandError(
                f"{len(faults)} faults. Stop working in the program, keep a copy of the database, "
                "and restore the last backup that passes."
            )
        self.stdout.write(
            f"The books are right: {Posting.objects.count():,} postings with "
            f"{PostingLine.objects.count():,} lines prove every balance."
        )
        seals.make()
        if seal := Seal.objects.newest():
            self.stdout.write(f"{seal}. Note it where nobody can change it.")

    def _of_noted(self, text: str) -> list[str]:
        """Say that a noted seal is in the chain, or return what is wrong with it."""
        seal = sealed.noted(text)
        if seal is None:
            return [
                f"No seal of these books is {text}. Check what you noted. If it is right, the "
                "books were changed behind the program's back, or a backup from before that "
                "seal was restored."
            ]
        self.stdout.write(f"These books have the seal that you noted: {seal}.")
        return []

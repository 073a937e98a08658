from django.core.management.base import BaseCommand, CommandError
from django.utils.timezone import localtime

from apiary_sales.keeping import books
from apiary_sales.keeping.one_state import reading
from apiary_sales.keeping.queries import noted_seals
from apiary_sales.keeping.services import proved_seals
from inventory.stock.models import Posting, PostingLine, Seal
from inventory.stock.queries import seals as sealed
from inventory.stock.services import seals


class Command(BaseCommand):
    help = (
        "Check stock, reservations and money against their lines, and the books against their "
        "seals; fail on any difference. What is right is sealed. People can go on working."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument(
            "--seal",
            metavar="TEXT",
            help="a seal that you noted, as it was printed: tell whether the books still have it",
        )
        parser.add_argument(
            "--all",
            action="store_true",
            help="compare the rows of all seals again, those too that were compared before, and "
            "work the journal out anew; it takes longer",
        )

    def handle(self, *args, **options) -> None:
        # One that comes while the books are proved is proved the next time.
        newest, kept = Seal.objects.newest(), proved_seals.last()
        whole = options["all"] or kept is None
        faults = books.prove(
            books.proofs(whole=options["all"], proved_until=0 if kept is None else kept.number)
        )
        if options["seal"]:
            faults += self._of_noted(options["seal"])
        for fault in faults:
            self.stderr.write(fault)
        if warning := noted_seals.warning():
            self.stderr.write(warning)
        if faults:
            raise CommandError(
                f"{len(faults)} faults. Go on working: nothing that you enter is lost. Keep what "
                "is written here, and make a backup now with manage.py backup. Show it to whoever "
                "looks after the machine, before anything is restored: a backup from before would "
                "lose what was sold since, and it may have the same fault."
            )
        with reading():
            self.stdout.write(
                f"The books are right: {Posting.objects.count():,} postings with "
                f"{PostingLine.objects.count():,} lines prove every balance."
            )
        if not whole and kept is not None:
            self.stdout.write(
                f"Rows were compared with their seals from seal {kept.number + 1} on. Those before "
                f"were compared at {localtime(kept.proved_at):%Y-%m-%d %H:%M} or later; --all "
                "compares them again."
            )
        if newest is not None:
            proved_seals.note(newest, whole=whole)
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

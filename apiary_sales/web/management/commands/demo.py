from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from apiary_sales.web import serve
from apiary_sales.web.demo import (
    care,
    market,
    more_products,
    papers,
    results,
    setting_up,
    stand_day,
    story,
)
from apiary_sales.web.demo.fixtures import read
from inventory.shared.documents import PdfUnavailable


class Command(BaseCommand):
    help = "Load an invented honey house, do its main work, print what came of it, and serve it."

    def add_arguments(self, parser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="Stop before serving the site.")
        parser.add_argument("--port", type=int, default=8000, help="Serve here (default 8000).")

    def handle(self, *args, **options) -> None:
        today = timezone.localdate()
        self.stdout.write("Making the database")
        call_command("migrate", verbosity=0)
        try:
            self.stdout.write("Setting up the house")
            setting_up.set_up(today, self._say)
        except setting_up.HouseIsNotTheDemo as error:
            raise CommandError(
                f"{settings.DATABASES['default']['NAME']} has a house of its own in it, which "
                "the demo leaves alone. Give the demo a place of its own: DATA_DIR=/tmp/honey-demo"
            ) from error
        self.stdout.write("Doing a season's work")
        story.tell(today, self._say)
        stand_day.tell(today, self._say)
        more_products.tell(today, self._say)
        care.tell(today, self._say)
        market.tell(today, self._say)
        self.stdout.write("Writing the papers")
        written = self._write_papers()
        call_command("verify_ledger", stdout=self.stdout)
        self._print_results(written)
        if not options["no_serve"]:
            self._serve(options["port"])

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()

    def _write_papers(self) -> list[tuple[str, str]]:
        try:
            return [(what, str(path)) for what, path in papers.write(self._say)]
        except PdfUnavailable as error:
            self.stderr.write(f"  {error.message}")
            return []

    def _print_results(self, written: list[tuple[str, str]]) -> None:
        self.stdout.write("")
        rows = [*results.table(), *written]
        width = max(len(what) for what, _ in rows) + 2
        for what, how_much in rows:
            self.stdout.write(f"{what:<{width}}{how_much}")
        self.stdout.write("")

    def _serve(self, port: int) -> None:
        try:
            listener = serve.prepare(serve.Address.parse(f"127.0.0.1:{port}"))
        except serve.PortNotFree as error:
            raise CommandError(
                f"Port {port} is taken ({error}). Choose another: --port {port + 1}"
            ) from error
        except serve.CannotServe as error:
            raise CommandError(str(error)) from error
        house = read("house")
        self.stdout.write("Sign in as")
        for person in house["people"]:
            self.stdout.write(
                f"  {person['username']:<8} {house['sign_in']['password']}   "
                f"{person['name']}, {person['role']}"
            )
        self.stdout.write(f"\nOpen http://127.0.0.1:{port}   (Ctrl+C stops)")
        self.stdout.flush()
        with listener:
            serve.run(listener)

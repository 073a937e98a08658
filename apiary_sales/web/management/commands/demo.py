from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from apiary_sales.web import serve
from apiary_sales.web.demo import (
    beside,
    care,
    market,
    more_products,
    papers,
    removal,
    results,
    setting_up,
    stand_day,
    story,
)
from apiary_sales.web.demo.fixtures import read
from apiary_sales.web.demo.seasons import setting_up as season_setting
from apiary_sales.web.demo.seasons.telling import Seasons
from inventory.shared.documents import PdfUnavailable

USUAL_PORT = 8000


class Command(BaseCommand):
    help = "Load an invented honey house, do its main work, print what came of it, and serve it."

    def add_arguments(self, parser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="Stop before serving the site.")
        parser.add_argument(
            "--short",
            action="store_true",
            help="Tell the last weeks alone, without the seasons: quicker, and a small database.",
        )
        parser.add_argument(
            "--port",
            type=int,
            help=f"Serve here (default {USUAL_PORT}; beside a house of its own, the first free "
            f"one from {beside.FIRST_PORT} on).",
        )
        parser.add_argument(
            "--remove", action="store_true", help="Remove the demo, and never a real house."
        )

    def handle(self, *args, **options) -> None:
        if options["remove"]:
            self._remove()
        elif beside.is_needed():
            self._start_beside(options)
        else:
            self._run_here(options)

    def _run_here(self, options: dict[str, Any]) -> None:
        today = timezone.localdate()
        self.stdout.write("Making the database")
        call_command("migrate", verbosity=0)
        try:
            self.stdout.write("Setting up the house")
            setting_up.set_up(today, self._say)
        except setting_up.HouseIsNotTheDemo as error:
            raise CommandError(self._is_left_alone()) from error
        self.stdout.write("Doing the work of three seasons")
        with transaction.atomic():
            more_products.set_up(today, self._say)
            season_setting.set_up(today, self._say)
        story.tell(today, self._say, Seasons(today, self._say, is_short=options["short"]))
        stand_day.tell(today, self._say)
        more_products.tell(today, self._say)
        care.tell(today, self._say)
        market.tell(today, self._say)
        story.tell_of_today(today, self._say)
        more_products.tell_of_today(today, self._say)
        self.stdout.write("Writing the papers")
        written = self._write_papers()
        call_command("verify_ledger", stdout=self.stdout)
        self._print_results(written)
        if not options["no_serve"]:
            self._serve(options["port"] or USUAL_PORT)

    def _start_beside(self, options: dict[str, Any]) -> None:
        """Leave the house in the database alone, and go on in the demo's own folder."""
        if beside.mark(settings.DATA_DIR).exists():
            raise CommandError(
                f"{self._is_left_alone()} The demo there was changed into another house. Delete "
                f"{settings.DATA_DIR} if nobody needs it."
            )
        port = options["port"] or beside.free_port()
        self.stdout.write(
            f"{self._is_left_alone()} The demo is in {beside.folder()}: its own database, key and "
            "files. No e-mail leaves it. manage.py demo --remove takes it away."
        )
        self.stdout.flush()
        asked = [f"--{name}" for name in ("no-serve", "short") if options[name.replace("-", "_")]]
        beside.start("--port", str(port), *asked)

    def _remove(self) -> None:
        try:
            said = removal.remove()
        except removal.CannotRemove as error:
            raise CommandError(str(error)) from error
        if not said:
            raise CommandError(
                f"There is no demo, neither in {beside.folder()} nor in "
                f"{settings.DATABASES['default']['NAME']}."
            )
        for line in said:
            self.stdout.write(line)

    def _is_left_alone(self) -> str:
        name = settings.DATABASES["default"]["NAME"]
        return f"{name} has a house of its own in it, which the demo leaves alone."

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

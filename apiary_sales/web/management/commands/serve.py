from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import first_owner
from apiary_sales.web import serve
from inventory.shared.errors import NotAllowedNow


class Command(BaseCommand):
    help = "Serve the site: behind a proxy with HTTPS=true, otherwise to this machine alone."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--listen",
            default="127.0.0.1:8000",
            help="Answer at this IP address and port (default 127.0.0.1:8000).",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            listener = serve.prepare(serve.Address.parse(options["listen"]), say=self._say)
        except serve.PortNotFree as error:
            raise CommandError(
                f"The service can't listen at {options['listen']} ({error}). Stop what is "
                "listening there, or choose another address and port: --listen 127.0.0.1:8001"
            ) from error
        except serve.CannotServe as error:
            raise CommandError(str(error)) from error
        with listener:
            self.stdout.write(_where(listener.getsockname()))
            if (count := serve.count_processes()) > 1:
                self.stdout.write(f"{count} processes answer (PROCESSES)")
            self.stdout.write(f"Days and times are those of {settings.TIME_ZONE} (TIME_ZONE)")
            if how := _how_to_begin(listener.getsockname()):
                self.stdout.write(how)
            self.stdout.flush()
            try:
                serve.run(listener)
            except NotAllowedNow as error:
                raise CommandError(str(error)) from error
        self.stdout.write("Stopped")

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def _how_to_begin(name: tuple[Any, ...]) -> str:
    """Say how the first owner of an empty house begins; nothing where somebody can sign in."""
    if User.objects.exists():
        first_owner.forget_code()
        return ""
    # Through a proxy it is reached by the first name that people type.
    address = f"https://{settings.ALLOWED_HOSTS[0]}" if settings.HTTPS else _address(name)
    return (
        f"Nobody can sign in yet. Open {address}{reverse('web:set_up')} and type this code: "
        f"{first_owner.make_code()}\n"
        "The code ends with the first owner, and each start makes another one."
    )


def _address(name: tuple[Any, ...]) -> str:
    host, port = name[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def _where(name: tuple[Any, ...]) -> str:
    """Say where the service answers; the port may have been chosen by the system (port 0)."""
    address = _address(name)
    if settings.HTTPS:
        return (
            f"Serving {' '.join(settings.ALLOWED_HOSTS)} through the proxy at "
            f"{settings.TRUSTED_PROXY}, which reaches the service at {address}   (Ctrl+C stops)"
        )
    return f"Serving {address}   (Ctrl+C stops)"

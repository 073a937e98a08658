from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apiary_sales.accounts.models import User
from apiary_sales.web import serve


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
            listener = serve.prepare(serve.Address.parse(options["listen"]))
        except serve.PortNotFree as error:
            raise CommandError(
                f"The service can't listen at {options['listen']} ({error}). Stop what is "
                "listening there, or choose another address and port: --listen 127.0.0.1:8001"
            ) from error
        except serve.CannotServe as error:
            raise CommandError(str(error)) from error
        if not User.objects.exists():
            self.stdout.write("Nobody can sign in yet: run manage.py createsuperuser")
        with listener:
            self.stdout.write(_where(listener.getsockname()))
            self.stdout.flush()
            serve.run(listener)
        self.stdout.write("Stopped")


def _where(name: tuple[Any, ...]) -> str:
    """Say where the service answers; the port may have been chosen by the system (port 0)."""
    host, port = name[:2]
    address = f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
    if settings.HTTPS:
        return (
            f"Serving {' '.join(settings.ALLOWED_HOSTS)} through the proxy at "
            f"{settings.TRUSTED_PROXY}, which reaches the service at {address}   (Ctrl+C stops)"
        )
    return f"Serving {address}   (Ctrl+C stops)"

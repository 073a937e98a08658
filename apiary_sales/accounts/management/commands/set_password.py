import sys
from getpass import getpass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people


class Command(BaseCommand):
    help = "Set a new password for a person, and end where they are signed in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="The name that the person signs in with.")
        parser.add_argument(
            "--stdin", action="store_true", help="Read the password from the standard input."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["name"]).first()
        if person is None:
            names = ", ".join(User.objects.order_by("username").values_list("username", flat=True))
            raise CommandError(f"Nobody signs in as {options['name']!r}. There are: {names}")
        password = sys.stdin.readline().rstrip("\n") if options["stdin"] else _typed()
        try:
            validate_password(password, person)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        people.reset_password(person=person, password=password)
        self.stdout.write(f"{person.display_name} has a new password and is signed out everywhere.")
        if not person.is_active:
            self.stdout.write("This person is switched off: an owner can switch them on.")


def _typed() -> str:
    password = getpass("New password: ")
    if getpass("New password again: ") != password:
        raise CommandError("The two passwords differ.")
    return password

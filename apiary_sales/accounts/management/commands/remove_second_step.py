from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import second_steps
from inventory.shared.errors import HouseError


class Command(BaseCommand):
    help = "Remove the second step and the passkeys of a person who lost them."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="The name that the person signs in with.")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["name"]).first()
        if person is None:
            names = ", ".join(User.objects.order_by("username").values_list("username", flat=True))
            raise CommandError(f"Nobody signs in as {options['name']!r}. There are: {names}")
        try:
            second_steps.remove(person=person, removed_by=None)
        except HouseError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{person.display_name} signs in with the password alone now, and can set up a new "
            "second step under Your account."
        )

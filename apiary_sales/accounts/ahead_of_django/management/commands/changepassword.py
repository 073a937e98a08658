import getpass
from typing import Any

from django.contrib.auth.management.commands import changepassword

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people


class Command(changepassword.Command):
    help = "Change a person's password, and end where they are signed in and their programs' keys."

    def handle(self, *args: Any, **options: Any) -> str:
        username = options["username"] or getpass.getuser()
        said = super().handle(*args, **{**options, "username": username})
        people.end_access(person=User.objects.get(username=username))
        return f"{said}. They are signed out everywhere, and the keys of their programs have ended."

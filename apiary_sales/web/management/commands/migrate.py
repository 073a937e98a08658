"""`manage.py migrate`, which loads a new SQLite database at once and migrates it from there."""

from typing import Any

from django.core.management.commands import migrate
from django.db import connections

from apiary_sales.web import new_database


class Command(migrate.Command):
    def handle(self, *args: Any, **options: Any) -> None:
        is_whole = not (options["app_label"] or options["plan"] or options["check_unapplied"])
        connection = connections[options["database"]]
        if is_whole and new_database.can_be_loaded(connection):
            new_database.load(connection)
        super().handle(*args, **options)

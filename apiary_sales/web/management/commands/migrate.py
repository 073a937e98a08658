"""`manage.py migrate`, which loads a new SQLite database at once and migrates it from there.

As the service, it leaves a database alone beside which the log of another one lies.

Books that were never sealed are sealed at the end, so that an upgraded house has a first seal. A
house that was upgraded has its tables counted anew: of a new index, a database that never counted
it thinks little, and reads a large table instead until the next night.
"""

from typing import Any

from django.core.management.base import CommandError
from django.core.management.commands import migrate
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.recorder import MigrationRecorder

from apiary_sales.keeping import statistics
from apiary_sales.web import new_database, serve
from inventory.stock.models import Seal
from inventory.stock.services import seals


class Command(migrate.Command):
    def execute(self, *args: Any, **options: Any) -> Any:
        # Before Django's checks, which open the database.
        try:
            serve.refuse_torn_files()
        except serve.CannotServe as error:
            raise CommandError(str(error)) from error
        return super().execute(*args, **options)

    def handle(self, *args: Any, **options: Any) -> None:
        is_whole = not (options["app_label"] or options["plan"] or options["check_unapplied"])
        connection = connections[options["database"]]
        if is_whole and new_database.can_be_loaded(connection):
            new_database.load(connection)
        before = MigrationRecorder(connection).applied_migrations().keys()
        super().handle(*args, **options)
        if not is_whole or options["database"] != DEFAULT_DB_ALIAS:
            return
        if before and MigrationRecorder(connection).applied_migrations().keys() != before:
            statistics.refresh()
        if not Seal.objects.exists():
            seals.make()

"""Migrate databases of several versions and both kinds in one go, each as `migrate` would.

Nearly all the time of an upgrade is Django's, working out what the models were like between two
changes, which is the same on SQLite and PostgreSQL. A database of a later version has the same way
before it as one of an earlier version once that has got as far. So the oldest sets out, each other
joins where it stands, and what the models were like is worked out once for all. The changes and
their order are those of `migrate`, which each database gets at the end: it finds nothing left to
change, and does what follows on a change.
"""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from itertools import pairwise

from django.core.management.sql import emit_pre_migrate_signal
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations import Migration
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from django.db.migrations.state import ProjectState
from django.db.utils import load_backend
from environ import Env

SQLITE = "django.db.backends.sqlite3"


def connected(url: str) -> BaseDatabaseWrapper:
    """Return a connection to the database of this address; the usual one is of SQLite."""
    usual = connections[DEFAULT_DB_ALIAS]
    given = Env.db_url_config(url)
    if given["ENGINE"] == SQLITE:
        return type(usual)({**usual.settings_dict, "NAME": given["NAME"]}, DEFAULT_DB_ALIAS)
    settings = {**usual.settings_dict, "OPTIONS": {}, **given}
    return load_backend(given["ENGINE"]).DatabaseWrapper(settings, DEFAULT_DB_ALIAS)


@contextmanager
def as_default(database: BaseDatabaseWrapper) -> Iterator[None]:
    """Let everything use this database."""
    usual = connections[DEFAULT_DB_ALIAS]
    connections[DEFAULT_DB_ALIAS] = database
    try:
        yield
    finally:
        connections[DEFAULT_DB_ALIAS] = usual


def migrate(databases: list[BaseDatabaseWrapper]) -> None:
    """Apply to each database, the oldest first, every migration that it lacks."""
    with as_default(databases[0]):
        executor = MigrationExecutor(databases[0])
        plan = executor.migration_plan(executor.loader.graph.leaf_nodes(), clean_start=True)
        state = executor._create_project_state(with_applied_migrations=True)
    for database in databases:
        with as_default(database):
            emit_pre_migrate_signal(verbosity=0, interactive=False, db=DEFAULT_DB_ALIAS, plan=plan)
    # The models are worked out whole once, and then changed bit by bit.
    state.apps  # noqa: B018
    every = {(migration.app_label, migration.name) for migration, _backwards in plan}
    # Older ones have migrations of apps that are gone.
    applied = [*(_applied(database) & every for database in databases), every]
    for count, (before, after) in enumerate(pairwise(applied), start=1):
        assert before <= after, databases[count - 1]
        _advance(databases[:count], after - before, plan, state)


def _applied(database: BaseDatabaseWrapper) -> set[tuple[str, str]]:
    with as_default(database):
        return set(MigrationRecorder(database).applied_migrations())


def _advance(
    databases: list[BaseDatabaseWrapper],
    wanted: Collection[tuple[str, str]],
    plan: list[tuple[Migration, bool]],
    state: ProjectState,
) -> None:
    for migration, _backwards in plan:
        if (migration.app_label, migration.name) in wanted:
            steps = list(_steps(migration, state))
            for database in databases:
                with as_default(database):
                    _apply(migration, steps, database)


def _steps(
    migration: Migration, state: ProjectState
) -> Iterator[tuple[object, ProjectState, ProjectState]]:
    """Yield each operation with the state before and after it; `state` becomes the last."""
    before = state.clone()
    for operation in migration.operations:
        operation.state_forwards(migration.app_label, state)
        after = state.clone()
        yield operation, before, after
        before = after


def _apply(migration: Migration, steps: list, database: BaseDatabaseWrapper) -> None:
    """Change one database, as `Migration.apply` does."""
    with database.schema_editor(atomic=migration.atomic) as editor:
        for operation, before, after in steps:
            is_atomic = operation.atomic or (migration.atomic and operation.atomic is not False)
            if not editor.atomic_migration and is_atomic:
                with transaction.atomic():
                    operation.database_forwards(migration.app_label, editor, before, after)
            else:
                operation.database_forwards(migration.app_label, editor, before, after)
    MigrationRecorder(database).record_applied(migration.app_label, migration.name)

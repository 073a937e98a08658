"""The month of a day, for questions to the database that add up by month."""

from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.functions import TruncMonth
from django.db.models.sql.compiler import SQLCompiler


class MonthOf(TruncMonth):
    """The first day of the month of a day, as `TruncMonth` has it.

    That has SQLite ask Python for every row; here SQLite works it out itself. For days alone: a
    moment has a month only where somebody is.
    """

    def as_sqlite(
        self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **extra: Any
    ) -> tuple[str, Any]:
        sql, params = compiler.compile(self.lhs)
        return f"date({sql}, 'start of month')", params

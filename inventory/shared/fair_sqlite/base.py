import os
import re
from collections.abc import Callable
from typing import Any

from django.db import OperationalError
from django.db.backends.sqlite3 import base

from inventory.shared.fair_sqlite import turns

# A statement that writes, where it is no part of a transaction.
WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)


class DatabaseWrapper(base.DatabaseWrapper):
    """Django's connection to SQLite, which waits for its turn before it writes.

    It may be kept from one request to the next: it is closed where the file was replaced meanwhile.

    Raises `OperationalError`, as SQLite does, where the turn does not come in `turn_seconds`.
    """

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        # As long as SQLite itself waits for its lock.
        self.turn_seconds = float(self.settings_dict.get("OPTIONS", {}).get("timeout", 5))
        self._turn: turns.WritingTurns | None = None
        self._opened: tuple[int, int] | None = None
        self.execute_wrappers.append(self._in_turn)

    def get_new_connection(self, *args: Any) -> Any:
        connection = super().get_new_connection(*args)
        self._opened = self._there()
        return connection

    def close_if_unusable_or_obsolete(self) -> None:
        """Close a connection that is too old, and one to a file that is no longer the house's.

        Where somebody put another file in its place, all that is entered would be lost with the
        old one.
        """
        super().close_if_unusable_or_obsolete()
        is_idle = self.connection is not None and not self.in_atomic_block
        if is_idle and self._opened != self._there():
            self.close()

    def _there(self) -> tuple[int, int] | None:
        """Tell by what the file system knows the file; nothing where there is none."""
        try:
            found = os.stat(self.settings_dict["NAME"])
        except OSError:
            return None
        return found.st_dev, found.st_ino

    def _start_transaction_under_autocommit(self) -> None:
        if self.transaction_mode == "IMMEDIATE":  # type: ignore[attr-defined]
            self._take_turn()
        try:
            super()._start_transaction_under_autocommit()  # type: ignore[misc]
        except BaseException:
            self._give_turn_back()
            raise

    def _in_turn(
        self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any
    ) -> Any:
        if self._turn is not None or self.in_atomic_block or not WRITES.match(sql):
            return execute(sql, params, many, context)
        self._take_turn()
        try:
            return execute(sql, params, many, context)
        finally:
            self._give_turn_back()

    def _commit(self) -> None:
        super()._commit()  # type: ignore[misc]
        # Where that failed it is rolled back, and the lock is held until then.
        self._give_turn_back()

    def _rollback(self) -> None:
        try:
            super()._rollback()  # type: ignore[misc]
        finally:
            self._give_turn_back()

    def _close(self) -> None:
        try:
            super()._close()  # type: ignore[misc]
        finally:
            self._give_turn_back()

    def _take_turn(self) -> None:
        # One in memory is of this connection, or of a test.
        if self._turn is not None or self.is_in_memory_db():
            return
        turn = turns.of(str(self.settings_dict["NAME"]))
        if not turn.take(self.turn_seconds):
            raise OperationalError("database is locked")
        self._turn = turn

    def _give_turn_back(self) -> None:
        turn, self._turn = self._turn, None
        if turn is not None:
            turn.give_back()

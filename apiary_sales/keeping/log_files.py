"""The log: one JSON object a line, in a file that `manage.py serve` writes and turns over.

One process alone writes the file, since two that turn one file over lose lines: the others that
answer requests send it their lines. Commands write to the screen.
"""

import json
import logging
import logging.handlers
import sys
from contextlib import suppress
from contextvars import ContextVar
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path

from django.conf import settings

NAME = "honey.log"
NO_FILE = "none"
# Bytes of one file, and how many older ones are kept: some months of a busy house.
FILE_MAX, FILES_KEPT = 5_000_000, 10
REQUESTS = "apiary_sales.requests"

# The request that is being answered, so that all lines about it can be found.
request_id: ContextVar[str] = ContextVar("request_id", default="")


class JsonFormatter(logging.Formatter):
    """Write a record as one line of JSON; what a record carries in `facts` are fields of it.

    A record of another process carries its `line`.
    """

    def format(self, record: logging.LogRecord) -> str:
        if written := getattr(record, "line", ""):
            return str(written)
        at = datetime.fromtimestamp(record.created, UTC)
        line: dict[str, object] = {
            "time": at.isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if known := request_id.get():
            line["id"] = known
        line |= getattr(record, "facts", {})
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def is_worth_a_line(record: logging.LogRecord) -> bool:
    """Leave out what the line of the request says as well, and with less of the address."""
    says_it_too = record.name == "django.request" or record.name.startswith("django.security")
    return record.levelno >= logging.ERROR or not says_it_too


def path() -> Path | None:
    """Return the file of the log, or None where it goes to the screen."""
    return None if settings.LOG_DIR.lower() == NO_FILE else Path(settings.LOG_DIR) / NAME


class Sender(logging.Handler):
    """Send lines to the process that writes the log."""

    def __init__(self, writer: Connection) -> None:
        super().__init__()
        self._writer = writer

    def emit(self, record: logging.LogRecord) -> None:
        # Where the other one is gone, this process ends too.
        with suppress(OSError):
            self._writer.send_bytes(self.format(record).encode())


def begin(writer: Connection | None = None) -> logging.Handler:
    """Write the log from now on, as this process serves; return what writes it, for `end`.

    With `writer` it is sent there.
    """
    handler: logging.Handler
    if writer is not None:
        handler = Sender(writer)
    elif file := path():
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        handler = logging.handlers.RotatingFileHandler(
            file, maxBytes=FILE_MAX, backupCount=FILES_KEPT, encoding="utf-8"
        )
    else:
        handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonFormatter())
    handler.addFilter(is_worth_a_line)
    logging.getLogger().addHandler(handler)
    # What the service itself does is worth a line; libraries speak when something is wrong.
    logging.getLogger("apiary_sales").setLevel(logging.INFO)
    return handler


def end(handler: logging.Handler) -> None:
    """Write the log no longer."""
    logging.getLogger().removeHandler(handler)
    handler.close()

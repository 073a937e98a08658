"""Several processes that answer at one port, so that Python runs on each core.

A process runs Python in one thread at a time, so that one process answers as much as one core can.
PostgreSQL lets several write at once: there the process that was started keeps the port, the log,
the machine's lock and background work, and lets others answer. They are started afresh, never
copied from a process with threads. One that dies is replaced; all end with the first one, also
where it is killed, since the system then closes the pipe that each of them watches.

What a process keeps in its memory, and why several may each have their own:

- the house's conventions are read anew by each request; translations, templates, the description of
  the API and names of files do not change while the service runs;
- pages for strangers, and whether the service is well, are kept for a minute and for five seconds;
- visits of one stranger are counted in each process, so that several answer up to so many times
  what one would;
- threads, long work and presses of papers are shared out (`ServingPart`); of the passwords that the
  machine hashes at once, the processes share the turns by a lock on a file, which the system lets
  go of with its process (`accounts/hashing.py`);
- sessions, keys of acts, wrong passwords, long work and tasks are rows.

Nothing of Django is imported above, since a process reads this module before it sets Django up.
"""

import logging
import multiprocessing
import signal
import socket
import threading
import time
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess

from inventory.shared import garbage, processes

logger = logging.getLogger(__name__)

# Seconds that the processes have to finish what they are answering, and some to end.
STOP_SECONDS = 8.0
# Seconds to wait before one is started again that did not live for so long, doubled up to the most.
SHORT_LIFE, RESTART_WAIT, RESTART_WAIT_MAX = 10.0, 1.0, 60.0


@dataclass(frozen=True)
class ServingPart:
    """Which of the processes that answer this is, from 0, and how many there are."""

    number: int = 0
    count: int = 1

    def of(self, all_of_it: int) -> int:
        """Return this process's part of so many, which is one at least."""
        return max(1, all_of_it // self.count)


def answer(listener: socket.socket, count: int, log: logging.Handler) -> None:
    """Let so many processes answer until SIGTERM or Ctrl+C, and then end them in order."""
    places = [_Place(listener, ServingPart(number, count), log) for number in range(count)]
    try:
        while True:
            soonest = min(place.keep() for place in places)
            wait([place.process.sentinel for place in places if place.process], soonest)
    except (SystemExit, KeyboardInterrupt):
        # Those who stop the service tell its other processes so too, or do not.
        pass
    finally:
        for place in places:
            place.tell_to_stop()
        until = time.monotonic() + STOP_SECONDS
        for place in places:
            place.end(until)


class _Place:
    """The place of one process: in it, another one replaces the one that died."""

    def __init__(self, listener: socket.socket, part: ServingPart, log: logging.Handler) -> None:
        self.listener, self.part, self.log = listener, part, log
        self.process: BaseProcess | None = None
        self._began = self._next = 0.0
        self._wait = 0.0

    def keep(self) -> float:
        """See that a process runs here; return in how many seconds to look again."""
        if self.process is not None and not self.process.is_alive():
            self._note_the_death(self.process)
            self.process = None
        if self.process is None and time.monotonic() >= self._next:
            self._start()
        return RESTART_WAIT_MAX if self.process else self._next - time.monotonic()

    def _start(self) -> None:
        spawn = multiprocessing.get_context("spawn")
        reader, writer = spawn.Pipe(duplex=False)
        self.process = spawn.Process(
            target=_answer, args=(self.listener, self.part, writer), name=f"web-{self.part.number}"
        )
        self._began = time.monotonic()
        # Ctrl+C reaches all processes of a terminal, and the first one alone acts by it.
        usual = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            self.process.start()
        finally:
            signal.signal(signal.SIGINT, usual)
            writer.close()
        self._lines = threading.Thread(target=_write_log, args=[reader, self.log], daemon=True)
        self._lines.start()

    def _note_the_death(self, process: BaseProcess) -> None:
        lived = time.monotonic() - self._began
        short = lived < SHORT_LIFE
        self._wait = min(max(2 * self._wait, RESTART_WAIT), RESTART_WAIT_MAX) if short else 0.0
        self._next = time.monotonic() + self._wait
        logger.error(
            "Process %s, which answered requests, ended after %.0f seconds (exit code %s); "
            "another one takes its place in %.0f seconds.",
            process.pid,
            lived,
            process.exitcode,
            self._wait,
        )

    def tell_to_stop(self) -> None:
        if self.process is not None:
            self.process.terminate()

    def end(self, until: float) -> None:
        if self.process is None:
            return
        self.process.join(max(0.0, until - time.monotonic()))
        if self.process.is_alive():
            logger.warning("Process %s did not end in time and was killed.", self.process.pid)
            self.process.kill()
            self.process.join()
        # What it wrote last is in the pipe.
        self._lines.join()


def _write_log(reader: Connection, log: logging.Handler) -> None:
    """Write what a process tells of to the log, which one process alone may write."""
    with reader:
        while True:
            try:
                line = reader.recv_bytes().decode()
            except (EOFError, OSError):
                # It ended, perhaps within a line.
                return
            log.handle(logging.makeLogRecord({"name": "", "levelno": logging.INFO, "line": line}))


def _answer(listener: socket.socket, part: ServingPart, log: Connection) -> None:
    """Be one of the processes that answer."""
    processes.end_with_parent()
    garbage.look_seldom()
    import django

    django.setup()
    from apiary_sales.web import serve

    serve.answer_part(listener, part, log)

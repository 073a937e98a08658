"""Where papers are set in print: in this process, or in a few of their own.

Setting a paper in print keeps Python busy, and a process runs Python in one thread at a time: what
`manage.py serve` answers meanwhile would wait. So it opens the print room, a process for each core
and two at most. They are started afresh, not copied from a process with threads, when the first
paper is asked for; they let everything else on the machine go first; and they end with the
service. Who finds no print room open, such as a command, prints in the own process.
"""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress

from inventory.shared import processes

PRESSES = min(2, os.cpu_count() or 1)
# How far papers stand back behind pages, of 19.
NICENESS = 5

_lock = threading.Lock()
# How many may be at work, none where it is closed, and those that are.
_presses = 0
_room: ProcessPoolExecutor | None = None


@contextmanager
def opened(presses: int = PRESSES) -> Iterator[None]:
    """Print in processes of their own until this is left; what is under way then is given up."""
    global _presses, _room
    _presses = presses
    try:
        yield
    finally:
        with _lock:
            _presses, room, _room = 0, _room, None
        if room is not None:
            _close(room)


def printed(make: Callable[..., bytes], *given: object, **named: object) -> bytes:
    """Return what a function of `press` makes; papers are made in the order they are asked for.

    Where a process of the print room was killed, the paper is made once more in a new one.
    """
    room = _room_instead_of(None) if _presses else None
    if room is None:
        return make(*given, **named)
    try:
        return _asked(room, make, *given, **named).result()
    except BrokenProcessPool:
        return _asked(_room_instead_of(room) or room, make, *given, **named).result()


def _asked(
    room: ProcessPoolExecutor, make: Callable[..., bytes], *given: object, **named: object
) -> Future[bytes]:
    return room.submit(make, *given, **named)


def _room_instead_of(broken: ProcessPoolExecutor | None) -> ProcessPoolExecutor | None:
    """Return the room, a new one where it is broken or not there yet; None where it is closed."""
    global _room
    with _lock:
        # Another thread may have made a new one already, or the service ends.
        if _room is broken and _presses:
            _room = ProcessPoolExecutor(
                _presses, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
            )
        return _room


def _close(room: ProcessPoolExecutor) -> None:
    presses = list((room._processes or {}).values())
    room.shutdown(wait=False, cancel_futures=True)
    for process in presses:
        process.terminate()


def _begin() -> None:
    """Set up a process of the print room."""
    # Ctrl+C is for the service, which ends this process.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError):
        os.nice(NICENESS)
    processes.end_with_parent()

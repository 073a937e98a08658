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

PRESSES = min(2, os.cpu_count() or 1)
# How far papers stand back behind pages, of 19.
NICENESS = 5

_lock = threading.Lock()
_room: ProcessPoolExecutor | None = None


@contextmanager
def opened(presses: int = PRESSES) -> Iterator[None]:
    """Print in processes of their own until this is left; what is under way then is given up."""
    global _room
    with _lock:
        _room = _new_room(presses)
    try:
        yield
    finally:
        with _lock:
            room, _room = _room, None
        if room is not None:
            _close(room)


def printed(make: Callable[..., bytes], *given: object, **named: object) -> bytes:
    """Return what a function of `press` makes; papers are made in the order they are asked for.

    Where a process of the print room was killed, the paper is made once more in a new one.
    """
    room = _room
    if room is None:
        return make(*given, **named)
    try:
        return _asked(room, make, *given, **named).result()
    except BrokenProcessPool:
        return _asked(_instead_of(room), make, *given, **named).result()


def _asked(
    room: ProcessPoolExecutor, make: Callable[..., bytes], *given: object, **named: object
) -> Future[bytes]:
    return room.submit(make, *given, **named)


def _instead_of(broken: ProcessPoolExecutor) -> ProcessPoolExecutor:
    global _room
    with _lock:
        # Another thread may have opened a new one already, or the service ends.
        if _room is broken:
            _room = _new_room(PRESSES)
        return _room or broken


def _new_room(presses: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        presses, mp_context=multiprocessing.get_context("spawn"), initializer=_begin
    )


def _close(room: ProcessPoolExecutor) -> None:
    processes = list((room._processes or {}).values())
    room.shutdown(wait=False, cancel_futures=True)
    for process in processes:
        process.terminate()


def _begin() -> None:
    """Set up a process of the print room."""
    # Ctrl+C is for the service, which ends this process.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError):
        os.nice(NICENESS)
    threading.Thread(target=_end_with_the_service, daemon=True).start()


def _end_with_the_service() -> None:
    service = multiprocessing.parent_process()
    if service is not None:
        service.join()
        os._exit(0)

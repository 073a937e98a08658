"""The queue of those in this process who write to one database."""

import threading
from collections import defaultdict, deque


class WritingTurns:
    """Give a turn to one at a time, in the order in which they ask."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[threading.Lock] = deque()
        self._is_taken = False

    def take(self, seconds: float) -> bool:
        """Wait for a turn so long at most; tell whether it came."""
        with self._lock:
            if not self._is_taken:
                self._is_taken = True
                return True
            called = threading.Lock()
            called.acquire()
            self._waiting.append(called)
        if called.acquire(timeout=seconds):
            return True
        with self._lock:
            if called in self._waiting:
                self._waiting.remove(called)
                return False
        # It came at the last moment.
        return True

    def give_back(self) -> None:
        """End a turn; whoever has waited longest is next."""
        with self._lock:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._is_taken = False

    def count_waiting(self) -> int:
        return len(self._waiting)


_turns: dict[str, WritingTurns] = defaultdict(WritingTurns)
_one_at_a_time = threading.Lock()


def of(database: str) -> WritingTurns:
    """Return the queue for a file."""
    with _one_at_a_time:
        return _turns[database]

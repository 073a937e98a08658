"""What the processes have in common that one process of the service starts."""

import multiprocessing
import os
import threading


def end_with_parent() -> None:
    """End this process as soon as the one that started it is gone, whatever way that ended."""
    threading.Thread(target=_wait_and_end, name="end-with-parent", daemon=True).start()


def _wait_and_end() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(0)

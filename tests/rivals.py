"""Several people at once: acts that run at the same moment, each on a connection of its own."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from django.db import connection

from inventory.shared.errors import HouseError


def together(*acts):
    """Run the acts at the same moment; return what each gave, or the refusal it met."""
    start = Barrier(len(acts))

    def run(act):
        start.wait(timeout=20)
        try:
            return act()
        except HouseError as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return [future.result(timeout=60) for future in [pool.submit(run, act) for act in acts]]

"""How long a request may take to arrive, and how long its headers may be.

The server takes a hundred connections. Whoever opens many and sends a byte now and then would keep
all others out; a connection on which nothing comes is closed by the server itself.
"""

import time

from waitress.channel import HTTPChannel

from apiary_sales.web.lanes import LaneTask

# Bytes of the first line and the headers: many times the longest address of a page.
HEADERS_MAX_SIZE = 65_536
# Seconds without a byte, after which a connection is closed.
SILENT_SECONDS_MAX = 60
# Seconds for a whole request: a photo of 10 MB at a third of a megabit a second.
ARRIVAL_SECONDS_MAX = 300


class TimedChannel(HTTPChannel):
    """A connection that is closed where a request is not whole in time."""

    task_class = LaneTask
    began = 0.0

    def received(self, data: bytes) -> bool:
        """Take what has come of a request; return whether more may come."""
        now = time.monotonic()
        if self.request is None:
            self.began = now
        elif now - self.began > ARRIVAL_SECONDS_MAX:
            self.will_close = True
            return False
        return bool(super().received(data))

"""End what a machine left open in PostgreSQL, where the network to that machine was lost.

A machine whose process ends closes its connections, and PostgreSQL undoes at once what they had
not finished. Where the network is cut, nobody tells PostgreSQL: a transaction would stay open, and
keep what it locked from all other machines, until the operating system gives up its connection,
which usually takes two hours. So each connection asks for less when it is opened. The machine
itself gives up in the same time: see `LOST_NETWORK` in the settings.
"""

from typing import Any

from django.conf import settings


def end_soon(connection: Any, **_named: Any) -> None:
    """Let PostgreSQL give up a new connection `LOST_AFTER_SECONDS` after its network was lost."""
    if connection.vendor != "postgresql":
        return
    seconds = settings.LOST_AFTER_SECONDS
    with connection.cursor() as cursor:
        cursor.execute(
            f"SET tcp_keepalives_idle = {seconds // 2}; "
            f"SET tcp_keepalives_interval = {seconds // 6}; "
            "SET tcp_keepalives_count = 3; "
            f"SET tcp_user_timeout = '{seconds}s'; "
            # Otherwise who waits for a lock would notice nothing, and take it first.
            f"SET client_connection_check_interval = '{seconds // 6}s'"
        )

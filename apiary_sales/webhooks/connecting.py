"""Bring one message to an address, within a bounded time and to the machine that was looked at.

The name is looked up once; each address that it has is checked, and the connection is made to one
of them, so that no second look-up can lead elsewhere. Host and certificate are those of the name.
Redirects are not followed: a new address is for a person to enter.
"""

import contextlib
import http.client
import socket
import ssl
import threading
import time
from dataclasses import dataclass
from datetime import timedelta
from ipaddress import ip_address

from django.utils.translation import gettext as _

from apiary_sales import __version__
from apiary_sales.webhooks.rules import addresses
from apiary_sales.webhooks.rules.addresses import AddressRefused

# Seconds for the look-up of the name, and for everything after it.
LOOKUP_MAX = 5.0
EXCHANGE_MAX = 10.0
# Of an answer, so many bytes are read.
ANSWER_MAX = 4096


@dataclass(frozen=True)
class Sent:
    """What became of one attempt: a status with the beginning of the answer, or why there is none.

    `took` is how long the program kept us.
    """

    status: int | None
    answer: str
    error: str
    took: timedelta

    @property
    def is_taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


def post(url: str, body: str, headers: dict[str, str], *, is_in_own_network: bool) -> Sent:
    """Send a body, and return what was answered, or why it could not be sent."""
    began = time.monotonic()
    status, answer, error = None, "", ""
    try:
        status, answer = _exchange(url, body.encode(), headers, is_in_own_network)
    except AddressRefused as refused:
        error = str(refused)
    except (OSError, http.client.HTTPException) as failed:
        late = time.monotonic() - began >= EXCHANGE_MAX
        said = getattr(failed, "strerror", None) or str(failed) or type(failed).__name__
        error = _too_slow() if late else said
    return Sent(status, answer, error, timedelta(seconds=time.monotonic() - began))


def _exchange(
    url: str, body: bytes, headers: dict[str, str], is_in_own_network: bool
) -> tuple[int, str]:
    parts = addresses.parts_of(url)
    host = parts.hostname or ""
    port = parts.port or (443 if parts.scheme == "https" else 80)
    ips = _looked_up(host, port)
    for ip in ips:
        addresses.check(ip_address(ip), scheme=parts.scheme, is_in_own_network=is_in_own_network)
    connection = _HttpsTo(host, port, ips) if parts.scheme == "https" else _HttpTo(host, port, ips)
    with contextlib.closing(connection), _ended_after(EXCHANGE_MAX, connection):
        connection.request(
            "POST",
            f"{parts.path or '/'}{'?' if parts.query else ''}{parts.query}",
            body,
            {
                "Content-Type": "application/json",
                "User-Agent": f"honey-house/{__version__}",
                "Connection": "close",
                **headers,
            },
        )
        answered = connection.getresponse()
        # PostgreSQL keeps no NUL in a text.
        text = answered.read(ANSWER_MAX).decode("utf-8", "replace").replace("\x00", "")
        return answered.status, text


def _looked_up(host: str, port: int) -> list[str]:
    """Return the IP addresses of a name, in the order in which to try them. Raises `OSError`.

    The system's own look-up knows no limit of time, so it runs in a thread that is not waited for.
    """
    found: list[str] = []
    failed: list[Exception] = []

    def look_up() -> None:
        try:
            for row in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM):
                # An address of the link has its interface behind a percent sign.
                found.append(str(row[4][0]).partition("%")[0])
        except (OSError, UnicodeError) as error:
            failed.append(error)

    thread = threading.Thread(target=look_up, name="webhook-lookup", daemon=True)
    thread.start()
    thread.join(LOOKUP_MAX)
    if failed:
        raise OSError(_("No machine has the name %(host)s.") % {"host": host}) from failed[0]
    if thread.is_alive() or not found:
        raise OSError(_("The name %(host)s could not be looked up in time.") % {"host": host})
    return list(dict.fromkeys(found))


class _HttpTo(http.client.HTTPConnection):
    """A connection to the first of these addresses that answers."""

    def __init__(self, host: str, port: int, ips: list[str]) -> None:
        super().__init__(host, port, timeout=EXCHANGE_MAX)
        self._ips = ips
        self.raw: socket.socket | None = None

    def connect(self) -> None:
        self.sock = self.raw = _connected(self._ips, self.port)


class _HttpsTo(_HttpTo):
    """The same, with a certificate for the name."""

    default_port = 443

    def connect(self) -> None:
        super().connect()
        self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)


def _connected(ips: list[str], port: int) -> socket.socket:
    """Connect to one of these; together they may take half of the time. Raises `OSError`."""
    each = EXCHANGE_MAX / 2 / len(ips)
    for ip in ips[:-1]:
        with contextlib.suppress(OSError):
            return _with_timeout(socket.create_connection((ip, port), timeout=each))
    return _with_timeout(socket.create_connection((ips[-1], port), timeout=each))


def _with_timeout(connected: socket.socket) -> socket.socket:
    connected.settimeout(EXCHANGE_MAX)
    return connected


@contextlib.contextmanager
def _ended_after(seconds: float, connection: _HttpTo):
    """End a connection after so long, also one that goes on byte by byte."""

    def end() -> None:
        if connection.raw is not None:
            # Whoever waits for the socket gets an error at once.
            with contextlib.suppress(OSError):
                connection.raw.shutdown(socket.SHUT_RDWR)

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _too_slow() -> str:
    return _("There was no whole answer within 10 seconds.")

"""`manage.py serve` as a process of its own, a proxy with HTTPS in front, and a visitor.

with serving.service(folder, HTTPS="true", ALLOWED_HOSTS="localhost") as port:
    with serving.https_proxy(port) as (https_port, trust):
        visitor = serving.Visitor(https_port, trust)
"""

import os
import signal
import sqlite3
import ssl
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from http.client import HTTPConnection, HTTPSConnection
from http.cookies import SimpleCookie
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

import trustme

ROOT = Path(__file__).resolve().parent.parent


def manage(data_dir: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess:
    """Run a command of `manage.py` to its end, with these settings alone."""
    return subprocess.run(
        _command(*arguments),
        cwd=ROOT,
        env=_environment(data_dir, environment),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )


@contextmanager
def service(
    data_dir: Path, stop: signal.Signals = signal.SIGTERM, **environment: str
) -> Iterator[int]:
    """Serve on a free port, yield the port, then stop with this signal and expect a clean end."""
    process = start(data_dir, **environment)
    with process:
        try:
            yield port_of(process)
            process.send_signal(stop)
            process.wait(timeout=20)
        finally:
            process.kill()
        rest = process.stdout.read()
    assert (process.returncode, rest.splitlines()[-1:]) == (0, ["Stopped"]), rest


def start(data_dir: Path, **environment: str) -> subprocess.Popen:
    """Start to serve on a free port, which `port_of` returns."""
    return subprocess.Popen(
        _command("serve", "--listen", "127.0.0.1:0"),
        cwd=ROOT,
        env=_environment(data_dir, environment),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        preexec_fn=_hear_ctrl_c,
    )


def started_by(pid: int) -> list[int]:
    """Return the processes that Python's spawning started for this one."""
    found = subprocess.run(
        ["pgrep", "-P", str(pid), "-f", "spawn_main"], capture_output=True, text=True
    )
    return [int(each) for each in found.stdout.split()]


def _hear_ctrl_c() -> None:
    """A shell that starts the tests in its background lets all they start ignore Ctrl+C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def copy_database(source: Path, target: Path) -> None:
    """Copy a database that may be in use."""
    target.parent.mkdir(parents=True, exist_ok=True)
    with closing(sqlite3.connect(source)) as database, closing(sqlite3.connect(target)) as copy:
        database.backup(copy)


@contextmanager
def https_proxy(port: int) -> Iterator[tuple[int, ssl.SSLContext]]:
    """Put HTTPS for `localhost` in front of a port; yield the proxy's port and whom to trust."""
    authority = trustme.CA()
    keys = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(keys)
    trust = ssl.create_default_context()
    authority.configure_trust(trust)

    handler = type("Handler", (_Proxy,), {"port": port})
    with ThreadingHTTPServer(("127.0.0.1", 0), handler) as proxy:
        # The handshake is left to the thread of each connection: a browser opens some in advance.
        proxy.socket = keys.wrap_socket(
            proxy.socket, server_side=True, do_handshake_on_connect=False
        )
        thread = threading.Thread(target=proxy.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        yield proxy.server_address[1], trust
        proxy.shutdown()
        thread.join()


class _Proxy(BaseHTTPRequestHandler):
    """Pass a request on as a reverse proxy does: with its Host, and with who asked and how."""

    port: int

    def do_GET(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        headers = dict(self.headers) | {
            "X-Forwarded-Proto": "https",
            "X-Forwarded-For": self.client_address[0],
            "Connection": "close",
        }
        with closing(HTTPConnection("127.0.0.1", self.port, timeout=30)) as service:
            service.request(self.command, self.path, body or None, headers)
            answer = service.getresponse()
            content = answer.read()
        self.send_response_only(answer.status, answer.reason)
        for name, value in answer.getheaders():
            if name.lower() not in ("connection", "transfer-encoding"):
                self.send_header(name, value)
        self.end_headers()
        self.wfile.write(content)

    do_POST = do_GET  # noqa: N815

    def handle(self) -> None:
        # A browser drops connections that it opened in advance.
        with suppress(ssl.SSLError, ConnectionError):
            super().handle()

    def log_message(self, *_: object) -> None:
        pass


class Answer(NamedTuple):
    status: int
    headers: dict[str, str]
    text: str


class Visitor:
    """Somebody with a browser that keeps cookies and does not follow redirects by itself."""

    def __init__(self, port: int, trust: ssl.SSLContext | None = None) -> None:
        self.port, self.trust = port, trust
        self.cookies = SimpleCookie()

    def get(self, path: str, **headers: str) -> Answer:
        return self._ask("GET", path, None, headers)

    def post(self, path: str, fields: dict[str, str], **headers: str) -> Answer:
        headers["Content-Type"] = "application/x-www-form-urlencoded"
        return self._ask("POST", path, urlencode(fields), headers)

    def sign_in(self, username: str, password: str, **headers: str) -> Answer:
        """Open the page to sign in and send its form."""
        self.get("/account/sign-in/")
        fields = {"username": username, "password": password, "next": ""}
        # Over HTTPS its name has a prefix.
        token = self.cookies.get("__Host-csrftoken") or self.cookies["csrftoken"]
        fields["csrfmiddlewaretoken"] = token.value
        return self.post("/account/sign-in/", fields, **headers)

    def _ask(self, method: str, path: str, body: str | None, headers: dict[str, str]) -> Answer:
        cookies = "; ".join(f"{name}={entry.value}" for name, entry in self.cookies.items())
        with closing(self._connection()) as connection:
            connection.request(method, path, body, {"Cookie": cookies, **headers})
            answer = connection.getresponse()
            for value in answer.headers.get_all("Set-Cookie", []):
                self.cookies.load(value)
            return Answer(answer.status, dict(answer.headers), answer.read().decode())

    def _connection(self) -> HTTPConnection:
        if self.trust:
            return HTTPSConnection("localhost", self.port, context=self.trust, timeout=30)
        return HTTPConnection("127.0.0.1", self.port, timeout=30)


def _command(*arguments: str) -> list[str]:
    return [sys.executable, "manage.py", *arguments]


def _environment(data_dir: Path, environment: dict[str, str]) -> dict[str, str]:
    """Return the least that a process needs, so that no setting of the tester gets in."""
    return {"PATH": os.environ["PATH"], "DATA_DIR": str(data_dir), **environment}


def port_of(process: subprocess.Popen) -> int:
    """Return the port once the service says where it answers."""
    said = []
    for line in process.stdout:
        said.append(line)
        if line.startswith("Serving"):
            return int(line.split("   ")[0].rpartition(":")[2])
    raise AssertionError(f"The service did not start:\n{''.join(said)}")

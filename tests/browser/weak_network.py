"""A network between browser and house that can be made as bad as a market's.

`network.faults` names what happens to a path, or to every path ("*"), until it is taken out again:

- "none": the connection is reset before the question is passed on
- "lost": the house answers, and the connection is reset before the answer arrives
- "hangs": no answer, for as long as the fault lasts
- "late": the house answers, and its answer arrives when the fault ends
- "stalls": the head and half of the body, and then nothing
- "cut": half of the body, and the connection is closed
- "short": half of the body that claims to be all
- "portal", "portal_redirect", "portal_json": the portal of a public network answers
- a number: that status, with a page of a proxy
"""

import http.client
import json
import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

Fault = str | int
REPLACED = ("content-length", "connection", "transfer-encoding", "cache-control")
PORTAL_PAGE = b"<!doctype html><title>Free network</title><p>Accept our terms</p></html>"


class WeakNetwork(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, house: str) -> None:
        super().__init__(("localhost", 0), _Passing)
        parts = urlsplit(house)
        self.house = (parts.hostname, parts.port)
        self.url = f"http://localhost:{self.server_port}"
        self.faults: dict[str, Fault] = {}
        # Of the bodies sent to these paths, which ones a fault is for.
        self.only_for = lambda body: True
        # What was asked, in order: (path, body of the JSON or None).
        self.seen: list[tuple[str, dict | None]] = []
        self.healed = threading.Event()

    def break_down(self, fault: Fault, path: str = "*") -> None:
        self.healed.clear()
        self.faults[path] = fault

    def heal(self) -> None:
        self.faults.clear()
        self.only_for = lambda body: True
        self.healed.set()

    def keys_sent(self, path: str = "/stand/sales/") -> list[str]:
        return [body["key"] for asked, body in self.seen if asked == path and body]

    def handle_error(self, request, client_address) -> None:
        """A browser that went away is no news here."""


class _Passing(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: WeakNetwork

    def log_message(self, format, *args) -> None:
        pass

    def _serve(self) -> None:
        length = int(self.headers.get("Content-Length") or 0)
        body = self.rfile.read(length) if length else b""
        path = urlsplit(self.path).path
        told = json.loads(body) if "json" in self.headers.get("Content-Type", "") else None
        self.server.seen.append((path, told))
        fault = self.server.faults.get(path, self.server.faults.get("*"))
        if fault is not None and not self.server.only_for(told):
            fault = None
        if fault is None:
            self._answer(*self._pass_on(body))
        else:
            self._fail(fault, body)

    do_GET = do_POST = do_HEAD = _serve  # noqa: N815

    def _pass_on(self, body: bytes) -> tuple[int, list[tuple[str, str]], bytes]:
        house = http.client.HTTPConnection(*self.server.house, timeout=30)
        headers = {name: value for name, value in self.headers.items() if name != "Connection"}
        # The browser asked this address, and the house checks where forms come from.
        house.putrequest(self.command, self.path, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            house.putheader(name, value)
        house.endheaders(body or None)
        answer = house.getresponse()
        whole = answer.read()
        house.close()
        return answer.status, answer.getheaders(), whole

    def _answer(self, status, headers, body, *, sent: bytes | None = None) -> None:
        self.send_response_only(status)
        for name, value in headers:
            if name.lower() not in REPLACED:
                self.send_header(name, value)
        # The browser's own cache would hide what is missing in ours.
        self.send_header("Cache-Control", "no-store")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body if sent is None else sent)
        self.wfile.flush()

    def _fail(self, fault: Fault, body: bytes) -> None:
        html = [("Content-Type", "text/html")]
        match fault:
            case int():
                self._answer(fault, html, b"<!doctype html><title>Bad gateway</title>")
            case "none":
                self._reset()
            case "lost":
                self._pass_on(body)
                self._reset()
            case "hangs":
                self.server.healed.wait(30)
                self._reset()
            case "late":
                passed = self._pass_on(body)
                self.server.healed.wait(30)
                self._answer(*passed)
            case "stalls" | "cut" | "short":
                status, headers, whole = self._pass_on(body)
                half = whole[: len(whole) // 2]
                if fault == "short":
                    self._answer(status, headers, half)
                    return
                self._answer(status, headers, whole, sent=half)
                if fault == "stalls":
                    self.server.healed.wait(30)
                self.close_connection = True
            case "portal":
                self._answer(200, html, PORTAL_PAGE)
            case "portal_json":
                self._answer(200, [("Content-Type", "application/json")], b'{"key": "yes"}')
            case "portal_redirect":
                self._answer(302, [("Location", "/accept-our-terms/")], b"")
            case _:
                raise ValueError(fault)

    def _reset(self) -> None:
        linger = struct.pack("ii", 1, 0)
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
        self.close_connection = True
        self.connection.close()


@contextmanager
def before(house: str) -> Iterator[WeakNetwork]:
    """Run a network in front of a house's address."""
    network = WeakNetwork(house)
    thread = threading.Thread(target=network.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield network
    finally:
        network.heal()
        network.shutdown()
        network.server_close()
        thread.join()

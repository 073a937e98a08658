"""A program that is told: a small HTTP server that keeps what it got, and answers as it is set."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Receiver:
    port: int = 0
    status: int = 204
    answer: bytes = b""
    location: str = ""
    # Set, it answers; else it keeps the connection open and says nothing.
    answers: threading.Event = field(default_factory=threading.Event)
    got: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/told?by=house"


@contextmanager
def running() -> Iterator[Receiver]:
    receiver = Receiver()
    receiver.answers.set()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            body = self.rfile.read(int(self.headers["Content-Length"]))
            receiver.got.append((self.path, dict(self.headers.items()), body))
            receiver.answers.wait(20)
            self.send_response(receiver.status)
            if receiver.location:
                self.send_header("Location", receiver.location)
            self.send_header("Content-Length", str(len(receiver.answer)))
            self.end_headers()
            self.wfile.write(receiver.answer)

        def log_message(self, *_arguments):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        receiver.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield receiver
        finally:
            receiver.answers.set()
            server.shutdown()
            thread.join()

"""A mail server of one process: it speaks just enough SMTP to take a mail or refuse it."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager


class MailServer(socketserver.ThreadingTCPServer):
    """`answers` has what it says instead of yes, by command; an empty answer hangs up."""

    allow_reuse_address = True
    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.answers: dict[str, str] = {}
        self.taken: list[str] = []

    @property
    def port(self) -> int:
        return self.server_address[1]


class _Talk(socketserver.StreamRequestHandler):
    server: MailServer

    def handle(self) -> None:
        if not self._say("CONNECT", "220 ready"):
            return
        for line in self.rfile:
            command = line.decode().split(maxsplit=1)[0].upper()
            if command == "DATA":
                self._say("", "354 go on")
                content = iter(self.rfile.readline, b".\r\n")
                mail = b"".join(content).decode()
                if not self._say("DATA", "250 taken"):
                    return
                if "DATA" not in self.server.answers:
                    self.server.taken.append(mail)
            elif command == "QUIT":
                self._say(command, "221 bye")
                return
            elif not self._say(command, "250 yes"):
                return

    def _say(self, command: str, usual: str) -> bool:
        """Answer, and tell whether the talk goes on."""
        answer = self.server.answers.get(command, usual)
        if answer:
            self.wfile.write(f"{answer}\r\n".encode())
        return bool(answer)


@contextmanager
def running() -> Iterator[MailServer]:
    with MailServer() as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        try:
            yield server
        finally:
            server.shutdown()
            thread.join()

"""A network for each machine of a storm, which can be cut off from the database and joined again.

A network namespace has addresses and connections of its own. Each is joined to the database by a
pair of virtual cards and a bridge, of which one end is taken down to cut it: what is sent either
way is lost, and nobody is told. Who asks a machine does so from within its network, so that the cut
machine is asked too. Only root makes namespaces; without them machines are processes of one
network, and can't be cut off.
"""

import ctypes
import os
import shutil
import subprocess
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection

# Of `postgresql.OTHER_NETWORKS`; each process takes some.
NETWORK = "198.18.{}"
_CLONE_NEWNET = 0x40000000
_libc = ctypes.CDLL(None, use_errno=True)


@dataclass(frozen=True)
class Machine:
    """The network of a machine; without a `namespace` it is that of the test."""

    namespace: str = ""
    card: str = ""
    address: str = ""

    @property
    def command(self) -> tuple[str, ...]:
        """What begins a command that runs within it."""
        return ("ip", "netns", "exec", self.namespace) if self.namespace else ()

    def cut(self) -> None:
        _ip("link", "set", self.card, "down")

    def join(self) -> None:
        _ip("link", "set", self.card, "up")

    def ask(self, port: int) -> HTTPConnection:
        """Return a connection to a port of this machine, from within it."""
        asked = HTTPConnection("127.0.0.1", port, timeout=60)
        if self.namespace:
            connect = asked.connect
            asked.connect = lambda: _within(self.namespace, connect)  # type: ignore[method-assign]
        return asked


HERE = Machine()


@dataclass(frozen=True)
class Networks:
    """The address at which a database is reached by all machines, and the machines' networks."""

    address: str
    machines: tuple[Machine, ...]

    @property
    def can_be_cut(self) -> bool:
        return any(machine.namespace for machine in self.machines)


def why_not() -> str:
    """Return why no networks can be made here, in words; nothing where they can."""
    if os.getuid() != 0:
        return "only root makes network namespaces"
    if shutil.which("ip") is None:
        return "the program ip is not installed (Debian: apt-get install iproute2)"
    # A name of a card has at most fifteen letters.
    name = f"try-{os.getpid()}"
    for kind, *what in (("netns",), ("link", "type", "bridge"), ("link", "type", "veth")):
        made = _tried(kind, "add", name, *what)
        if made.returncode:
            return made.stderr.strip()
        _ip(kind, "delete", name)
    return ""


@contextmanager
def of_machines(count: int) -> Iterator[Networks]:
    """Make so many networks; where that can't be, all are that of the test."""
    if why_not():
        yield Networks("127.0.0.1", (HERE,) * count)
        return
    number = os.getpid() % 256
    prefix, bridge = NETWORK.format(number), f"honey-{number}"
    with ExitStack() as stack:
        _ip("link", "add", bridge, "type", "bridge")
        stack.callback(_ip, "link", "delete", bridge)
        _ip("address", "add", f"{prefix}.1/24", "dev", bridge)
        _ip("link", "set", bridge, "up")
        machines = [_made(stack, bridge, prefix, each) for each in range(count)]
        yield Networks(f"{prefix}.1", tuple(machines))


def _made(stack: ExitStack, bridge: str, prefix: str, number: int) -> Machine:
    name = f"{bridge}-{number}"
    machine = Machine(name, f"{name}-out", f"{prefix}.{number + 2}")
    _ip("netns", "add", name)
    stack.callback(_ip, "netns", "delete", name)
    card = f"{name}-in"
    _ip("link", "add", machine.card, "type", "veth", "peer", "name", card, "netns", name)
    _ip("link", "set", machine.card, "master", bridge, "up")
    _ip("-n", name, "address", "add", f"{machine.address}/24", "dev", card)
    for each in (card, "lo"):
        _ip("-n", name, "link", "set", each, "up")
    return machine


def _within(namespace: str, connect) -> None:
    """Connect in a thread that is in a namespace: a socket stays in the one it was made in."""
    failed: list[BaseException] = []

    def enter_and_connect() -> None:
        try:
            with open(f"/run/netns/{namespace}") as found:
                if _libc.setns(found.fileno(), _CLONE_NEWNET):
                    raise OSError(ctypes.get_errno(), "A network namespace can't be entered")
            connect()
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=enter_and_connect)
    thread.start()
    thread.join()
    if failed:
        raise failed[0]


def _ip(*arguments: str) -> None:
    done = _tried(*arguments)
    if done.returncode:
        raise OSError(f"ip {' '.join(arguments)}: {done.stderr.strip()}")


def _tried(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["ip", *arguments], capture_output=True, text=True)

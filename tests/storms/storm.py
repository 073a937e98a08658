"""A storm: work, kills at random moments, and what must be true in the end."""

import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from http.client import HTTPException
from pathlib import Path

from tests import postgresql, serving
from tests.storms import networks, programs
from tests.storms.programs import House, Office, Program, Sent
from tests.upgrade import databases

PROGRAMS = 8
# Seconds of work between the moment when the house answers again and the next kill.
CALM = (0.3, 2.5)
# Seconds that the service may take to answer after a start.
START = 90
# Seconds that processes may take to end after the one that started them.
END = 10
# What is lost at once where the database is a server, which several processes work with.
LOSSES = (["service"], ["database"], ["database", "service"], ["one process"])
PROCESSES = "2"


class Fault(Exception):
    """Something was lost, doubled or wrong; the message says what."""


class Service:
    """`manage.py serve` on a port that stays, in a group of processes of its own."""

    def __init__(
        self,
        folder: Path,
        database_url: str,
        machine: networks.Machine = networks.HERE,
        **environment: str,
    ) -> None:
        self.machine = machine
        self.port = postgresql.free_port()
        self._environment = {
            **os.environ,
            "DATA_DIR": str(folder),
            "DATABASE_URL": database_url,
            **environment,
        }
        self._log = folder / "service.log"

    @property
    def pid(self) -> int:
        return self._process.pid

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [
                    *self.machine.command,
                    *(sys.executable, "manage.py", "serve"),
                    *("--listen", f"127.0.0.1:{self.port}"),
                ],
                cwd=serving.ROOT,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def kill(self) -> None:
        """Kill the process that was started, and wait for all others to end by themselves."""
        self._process.kill()
        self._process.wait()
        until = time.monotonic() + END
        with suppress(ProcessLookupError):
            while time.monotonic() < until:
                os.killpg(self.pid, 0)
                time.sleep(0.01)
            os.killpg(self.pid, signal.SIGKILL)
            raise Fault("Processes of the service went on after the first one was killed.")

    def kill_one_that_answers(self, chance: random.Random) -> None:
        with suppress(ProcessLookupError):
            os.kill(chance.choice(serving.started_by(self.pid)), signal.SIGKILL)

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(timeout=60)

    def log(self) -> str:
        return self._log.read_text("utf-8")[-3_000:]


def strike(vendor: str, kills: int, seed: int, say: Callable[[str], None] = print) -> None:
    """Let a storm go over a house on this kind of database; raise `Fault` where anything is lost.

    The house is the one of the newest version that has landed, with some rows of all kinds.
    """
    with (
        tempfile.TemporaryDirectory(prefix="honey-storm-") as name,
        database_of(vendor, name) as (
            url,
            database,
        ),
    ):
        known = asked_of_the_house("make", Path(name), url)
        service = Service(Path(name), url, PROCESSES=PROCESSES if database else "1")
        house = House((service.port,), **known)
        service.start()
        try:
            wait_for(house, service)
            at_work = list(programs.start(house, seed, PROGRAMS))
            _storm(house, service, database, at_work, kills, random.Random(seed))
            say(f"{vendor}: {told(at_work)}, {kills} kills")
            repeat(house, at_work)
        finally:
            service.stop()
        compare(house, at_work, Path(name), url)


@contextmanager
def database_of(vendor: str, folder: str) -> Iterator[tuple[str, postgresql.Server | None]]:
    """Load the newest dump; yield its database's address, and its server where there is one."""
    newest = databases.versions(vendor)[-1]
    dump = databases.dump_path(newest, vendor).read_text("utf-8")
    if vendor == "sqlite":
        file = Path(folder) / "honey.sqlite3"
        databases.load_sqlite(dump, file)
        yield databases.sqlite_url(file), None
        return
    with postgresql.killable_server() as server:
        databases.load_postgresql(dump, server.url)
        yield server.url, server


def asked_of_the_house(
    function: str, folder: Path, url: str, module: str = "tests.storms.house"
) -> dict:
    """Return what a function of this module prints, run with the service set up."""
    code = f"import {module} as house; house.{function}()"
    asked = databases.run(code, data_dir=folder, database_url=url)
    if asked.returncode:
        raise Fault(f"{function}: {asked.stdout}{asked.stderr}")
    return json.loads(asked.stdout.splitlines()[-1])


def wait_for(house: House, service: Service) -> None:
    until = time.monotonic() + START
    while time.monotonic() < until:
        try:
            status, _answer = house.ask("GET", "me/", port=service.port)
        except (OSError, HTTPException, json.JSONDecodeError):
            status = 0
        if status == 200:
            return
        time.sleep(0.1)
    raise Fault(f"The service does not answer after a start:\n{service.log()}")


def _storm(
    house: House,
    service: Service,
    server: postgresql.Server | None,
    at_work: list[Program],
    kills: int,
    chance: random.Random,
) -> None:
    with working(at_work, [service]):
        for _kill in range(kills):
            time.sleep(chance.uniform(*CALM))
            what = chance.choice(LOSSES) if server else ["service"]
            if "database" in what:
                server.kill()
            if "one process" in what:
                service.kill_one_that_answers(chance)
            if "service" in what:
                service.kill()
            if "database" in what:
                server.start()
            if "service" in what:
                service.start()
            wait_for(house, service)
        time.sleep(CALM[1])


@contextmanager
def working(at_work: list[Program], services: list[Service]) -> Iterator[None]:
    """Let the programs work inside the block; raise `Fault` where one was refused."""
    threads = [threading.Thread(target=program.run) for program in at_work]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        for program in at_work:
            program.stop.set()
        for thread in threads:
            thread.join()
    if faults := [program.fault for program in at_work if program.fault]:
        raise Fault("\n".join([*faults, *(service.log() for service in services)]))


def done_by(at_work: list[Program]) -> list[Sent]:
    return [sent for program in at_work for sent in program.done]


def told(at_work: list[Program]) -> str:
    again = sum(program.sent_again for program in at_work)
    return f"{len(done_by(at_work))} acts done, {again} sent again"


def repeat(house: House, at_work: list[Program]) -> None:
    """Send every act that was answered once more: it must be answered alike."""
    for sent in done_by(at_work):
        status, answer = house.ask(sent.method, sent.path, sent.body, sent.content_type, sent.key)
        if (status, answer) != (sent.status, sent.answer):
            raise Fault(f"{sent} is answered differently now: {status} {answer}")


def compare(house: House, at_work: list[Program], folder: Path, url: str) -> None:
    """Prove the books; raise `Fault` where they hold something else than was answered."""
    proved = serving.manage(folder, "verify_ledger", DATABASE_URL=url)
    if proved.returncode:
        raise Fault(f"verify_ledger: {proved.stdout}{proved.stderr}")
    held = asked_of_the_house("read", folder, url)
    if faults := [*_faults(house, at_work, held)]:
        raise Fault("\n".join(faults))


def _faults(house: House, at_work: list[Program], held: dict) -> Iterator[str]:
    """Compare what was answered with what the books hold."""
    done = done_by(at_work)
    answered = Counter(sent.kind for sent in done)
    for kind, count in held["counts"].items():
        if count - house.before[kind] != answered[kind]:
            yield f"{kind}: {answered[kind]} were answered, {count - house.before[kind]} are there"
    yield from (f"The number {number} is missing" for number in held["gaps"])

    taken = 2 * answered["sale"] + 3 * answered["hand-over"]
    pounds = house.pieces - taken + 10 * answered["recorded run"]
    if held["pounds"] != pounds:
        yield f"There should be {pounds} jars of a pound, there are {held['pounds']}"
    [office] = [program for program in at_work if isinstance(program, Office)]
    if office.counted and held["halves"] != office.counted:
        yield f"{office.counted} half pounds were counted last, there are {held['halves']}"
    paid = sum(sent.answer["amount_cents"] for sent in done if sent.kind == "payment")
    if held["paid_cents"] != paid:
        yield f"{paid} cents were paid, {held['paid_cents']} are in the books"
    lists = answered["bring in"]
    expected = {f"Bee Shop {n}.{row}": 1 for n in range(1, lists + 1) for row in range(3)}
    if held["brought_in"] != expected:
        yield f"Brought in were {sorted(expected)}, there are {held['brought_in']}"

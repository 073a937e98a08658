"""What a thousand small houses on one PostgreSQL cost, each with a database of its own.

    python -m tests.benchmarks --only many-houses --count 1000

The small house is the one of the newest dump, which has some rows of all kinds, brought to this
version and proved. The others are made of it as of a template. A page, `migrate` and a backup of
one house among all are measured by turns with those of the same house on a server of its own. The
memory of a server or service is that of its processes, with what they share shared out. A process
for each house is `manage.py serve` with one process that answers. It runs by name alone: it takes
some minutes, and 35 MB of disk a house.
"""

import json
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import psycopg

from tests import postgresql, serving
from tests.benchmarks.visitor import visit
from tests.storms import storm
from tests.upgrade import databases

NAME = "many-houses"
COUNT = 1_000
# What is not to be exceeded: times as long among all as alone, and milliseconds that are the same.
RATIO, SAME_MS = 1.3, 4
DISK_MB, MAKE_SECONDS, SERVER_MB = 40, 3.0, 0.5
LOOK_MS, PROCESS_MB, START_SECONDS = 250, 300, 10.0
OWNER, PASSWORD = "owner", "clover-and-comb"
# Pages of an owner: one that asks much, one list.
PAGES = {"Today": "/", "the list of postings": "/honey/postings/"}
READINGS, LOOKS, SERVED = 15, 15, 4
BACKUP = ("backup",)
# Left free on the disk in any case.
FREE_BYTES = 20_000_000_000

Row = tuple[str, str, float, float, bool]


def rows(count: int = COUNT) -> Iterator[Row]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    with (
        tempfile.TemporaryDirectory(prefix="honey-many-") as name,
        postgresql.killable_server() as one,
        postgresql.killable_server() as many,
    ):
        alone, among = (_Houses(Path(name), server) for server in (one, many))
        for houses in (alone, among):
            houses.begin()
        yield from among.filled(count, beside=alone)
        yield from _compared(alone, among)
        yield from among.served(count)


def make() -> None:
    """Migrate the house, let its owner sign in, and print the owner's name."""
    from django.core.management import call_command

    from apiary_sales.accounts.models import User

    call_command("migrate", verbosity=0, interactive=False)
    owner = User.objects.get(role=User.Role.OWNER)
    owner.set_password(PASSWORD)
    owner.username = OWNER
    owner.save()
    print(json.dumps({"owner": OWNER}))


class _Houses:
    """The houses of one server, of which the first is measured."""

    def __init__(self, folder: Path, server: postgresql.Server) -> None:
        self.folder, self.server = folder, server
        self.root = server.url.rpartition("/")[0]

    def begin(self) -> None:
        """Make a house of the version before, the small one, and the first of its copies."""
        old = databases.dump_path(databases.versions("postgresql")[-1], "postgresql")
        self._do("CREATE DATABASE old")
        databases.load_postgresql(old.read_text("utf-8"), self.url("old"))
        self._copy("old", "small")
        storm.asked_of_the_house("make", self.folder, self.url("small"), __name__)
        self.manage("small", "verify_ledger")
        self._copy("small", "house_0")

    def filled(self, count: int, *, beside: "_Houses") -> Iterator[Row]:
        """Make the other houses, and yield what each costs."""
        self._refuse_a_full_disk(count)
        files, kilobytes = _files(self.server.data)
        began = time.perf_counter()
        for number in range(1, count):
            self._copy("small", f"house_{number}")
        made = (time.perf_counter() - began) / (count - 1)
        more_files, more_kilobytes = _files(self.server.data)

        disk = (more_kilobytes - kilobytes) / 1_000 / (count - 1)
        a_house = f"{(more_files - files) / (count - 1):.0f} files"
        yield _row("MB of disk a house", a_house, disk, DISK_MB)
        yield _row("seconds to make a house", f"{count:,} of one template", made, MAKE_SECONDS)
        tables = self._do("SELECT count(*) FROM pg_class", "house_0")
        databases_there = self._do("SELECT count(*) FROM pg_database")
        yield _row("rows of pg_class in a house", f"{databases_there} databases", tables, 5_000)
        alone, among = beside.memory_mb(), self.memory_mb()
        against = f"{alone:.0f} → {among:.0f} MB"
        more = (among - alone) / (count - 1)
        yield _row("MB of the server at rest, a house", against, more, SERVER_MB)
        cold = self._median_first_look([f"house_{number}" for number in range(1, count)])
        warm = self._median_first_look(["house_0"])
        against = f"{warm:.0f} ms where it was"
        yield _row("ms to look into a house nobody asked for", against, cold, LOOK_MS)

    def migrate(self) -> None:
        """Bring a house of the version before to this one."""
        self._copy("old", "to_migrate")
        self.manage("to_migrate", "migrate")
        self._do("DROP DATABASE to_migrate")

    def manage(self, name: str, *command: str) -> None:
        done = serving.manage(self.folder, *command, DATABASE_URL=self.url(name))
        if done.returncode:
            raise SystemExit(f"{command} of {name}: {done.stdout}{done.stderr}")

    def url(self, name: str) -> str:
        return f"{self.root}/{name}"

    def memory_mb(self) -> float:
        return _memory_mb(self.server.pid)

    def served(self, count: int) -> Iterator[Row]:
        """Measure some houses that are served at once, each by processes of its own."""
        before = self.memory_mb()
        with ExitStack() as stack:
            seconds, megabytes = [], []
            for number in range(min(SERVED, count)):
                folder = self.folder / f"served-{number}"
                folder.mkdir()
                service = storm.Service(folder, self.url(f"house_{number}"), PROCESSES="1")
                began = time.perf_counter()
                _start(service)
                seconds.append(time.perf_counter() - began)
                stack.callback(service.stop)
                visitor = serving.Visitor(service.port)
                visitor.sign_in(OWNER, PASSWORD)
                for address in PAGES.values():
                    answer = visitor.get(address)
                    assert answer.status == 200, (number, answer)
                megabytes.append(_memory_mb(service.pid))
            server = (self.memory_mb() - before) / len(seconds)
        against = f"{max(seconds):.1f} s the longest"
        median = statistics.median(seconds)
        yield _row("seconds until a house answers", against, median, START_SECONDS)
        yield _row("MB of a house that is served", f"{SERVED} at once", max(megabytes), PROCESS_MB)
        yield _row("MB of the server for each of them", "its connections", server, PROCESS_MB)

    def _median_first_look(self, names: list[str]) -> float:
        """Return the milliseconds of connecting to a house and asking for two sums."""

        def look(name: str) -> float:
            began = time.perf_counter()
            with psycopg.connect(self.url(name)) as connection:
                connection.execute("SELECT max(id) FROM inventory_postingline")
                connection.execute("SELECT count(*) FROM inventory_balance")
            return 1_000 * (time.perf_counter() - began)

        some = names[:: max(1, len(names) // LOOKS)] if len(names) > 1 else names * LOOKS
        return statistics.median(look(name) for name in some)

    def _refuse_a_full_disk(self, count: int) -> None:
        size = self._do("SELECT pg_database_size('small')")
        if shutil.disk_usage(self.server.data).free < count * size + FREE_BYTES:
            raise SystemExit(f"{count} houses of {size:,} bytes are too many for this disk.")

    def _copy(self, name: str, new: str) -> None:
        # Copied as files: through the log, each would be written twice.
        self._do(f'CREATE DATABASE "{new}" TEMPLATE "{name}" STRATEGY file_copy')

    def _do(self, statement: str, name: str = "postgres") -> int:
        with psycopg.connect(self.url(name), autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchone()[0] if cursor.description else 0


def _compared(alone: _Houses, among: _Houses) -> Iterator[Row]:
    """Yield what a house costs among all beside alone, by turns; the best of each counts."""
    both = (alone, among)
    with ExitStack() as stack:
        visitors = [stack.enter_context(visit(houses.url("house_0"))) for houses in both]
        for name, address in PAGES.items():
            reads = [partial(visitor.read, "owner", address, counted=False) for visitor in visitors]
            yield _growth(name, *_best(reads, READINGS))
    for name, act, rounds in (
        ("migrate from the version before", lambda houses: houses.migrate(), 2),
        ("migrate with nothing to do", lambda houses: houses.manage("house_0", "migrate"), 3),
        ("a backup", lambda houses: houses.manage("house_0", *BACKUP), 3),
    ):
        yield _growth(name, *_best([partial(act, houses) for houses in both], rounds))


def _best(acts: Sequence[Callable[[], object]], rounds: int) -> list[float]:
    """Return the least seconds of each act, of so many turns."""
    best = [float("inf")] * len(acts)
    for _round in range(rounds):
        for number, act in enumerate(acts):
            began = time.perf_counter()
            act()
            best[number] = min(best[number], time.perf_counter() - began)
    return best


def _start(service: storm.Service) -> None:
    service.start()
    visitor = serving.Visitor(service.port)
    until = time.monotonic() + storm.START
    while time.monotonic() < until:
        try:
            if visitor.get("/health/").status == 200:
                return
        except OSError:
            time.sleep(0.02)
    raise SystemExit(f"The service does not answer:\n{service.log()}")


def _files(folder: Path) -> tuple[int, int]:
    """Return how many files are below a folder, and the kilobytes that they take on the disk."""
    found = [entry.stat() for entry in folder.rglob("*") if entry.is_file()]
    return len(found), sum(entry.st_blocks for entry in found) * 512 // 1_000


def _memory_mb(pid: int) -> float:
    """Return the memory of a process and of those it started; what is shared is shared out."""
    total = 0
    waiting = [pid]
    while waiting:
        process = waiting.pop()
        found = subprocess.run(["pgrep", "-P", str(process)], capture_output=True, text=True)
        waiting += [int(each) for each in found.stdout.split()]
        try:
            lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
        except (FileNotFoundError, ProcessLookupError):
            continue
        total += next(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    return total * 1_024 / 1_000_000


def _row(work: str, against: str, figure: float, most: float) -> Row:
    return f"{NAME}: {work}", against, round(figure, 2), most, figure <= most


def _growth(work: str, alone: float, among: float) -> Row:
    against = f"{alone * 1_000:.0f} ms → {among * 1_000:.0f} ms"
    held = among * 1_000 <= RATIO * alone * 1_000 + SAME_MS
    return f"{NAME}: {work}", against, round(among / alone, 2), RATIO, held

"""What a thousand small houses on one PostgreSQL cost, each with a database of its own.

    python -m tests.benchmarks --only many-houses --count 1000

The small house is the one of the newest dump, which has some rows of all kinds, brought to this
version and proved. The others are made of it as of a template. A page, `migrate` and a backup of
one house are measured while it is alone on the server, and again among all; so is the memory of the
server, as the part of each page of memory that belongs to its processes. A process for each house
is `manage.py serve` with one process that answers. It runs by name alone: it takes some minutes,
and 35 MB of disk a house.
"""

import json
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import psycopg

from tests import postgresql, serving
from tests.benchmarks.visitor import Visitor, visit
from tests.storms import storm
from tests.upgrade import databases

NAME = "many-houses"
COUNT = 1_000
# What is not to be exceeded: times as long among all as alone, and milliseconds that are the same.
RATIO, SAME_MS = 1.3, 4
DISK_MB, MAKE_SECONDS, SERVER_MB = 40, 3.0, 0.5
PROCESS_MB, START_SECONDS = 300, 10.0
OWNER, PASSWORD = "owner", "clover-and-comb"
# Pages of an owner: one that asks much, one list.
PAGES = {"Today": "/", "the list of postings": "/honey/postings/"}
ROUNDS, SERVED = 15, 4
# Left free on the disk in any case.
FREE_BYTES = 20_000_000_000

Row = tuple[str, str, float, float, bool]


def rows(count: int = COUNT) -> Iterator[Row]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    with (
        tempfile.TemporaryDirectory(prefix="honey-many-") as name,
        postgresql.killable_server() as server,
    ):
        yield from _Houses(Path(name), server).measured(count)


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
    """Houses on one server, of which the first is measured alone and among all."""

    def __init__(self, folder: Path, server: postgresql.Server) -> None:
        self.folder, self.server = folder, server
        self.root = server.url.rpartition("/")[0]

    def url(self, name: str) -> str:
        return f"{self.root}/{name}"

    def measured(self, count: int) -> Iterator[Row]:
        old = databases.dump_path(databases.versions("postgresql")[-1], "postgresql")
        self._do("CREATE DATABASE old")
        databases.load_postgresql(old.read_text("utf-8"), self.url("old"))
        self._copy("old", "small")
        storm.asked_of_the_house("make", self.folder, self.url("small"), __name__)
        self._manage("small", "verify_ledger")
        self._copy("small", "house_0")
        self._refuse_a_full_disk(count)

        alone = self._times()
        files, kilobytes = _files(self.server.data)
        memory = self._memory_mb()
        began = time.perf_counter()
        for number in range(1, count):
            self._copy("small", f"house_{number}")
        made = (time.perf_counter() - began) / (count - 1)
        more_files, more_kilobytes = _files(self.server.data)

        disk = (more_kilobytes - kilobytes) / 1_000 / (count - 1)
        a_house = f"{(more_files - files) / (count - 1):.0f} files"
        yield _row("MB of disk a house", a_house, disk, DISK_MB)
        yield _row("seconds to make a house", f"{count:,} of one template", made, MAKE_SECONDS)
        against = f"{memory:.0f} → {(memory_of_all := self._memory_mb()):.0f} MB"
        a_house_mb = (memory_of_all - memory) / (count - 1)
        yield _row("MB of the server at rest, a house", against, a_house_mb, SERVER_MB)
        tables = self._do("SELECT count(*) FROM pg_class", "house_0")
        catalogue = self._do("SELECT count(*) FROM pg_database")
        yield _row("rows of pg_class in a house", f"{catalogue} databases", tables, 5_000)
        for name, seconds in self._times().items():
            yield _growth(name, alone[name], seconds)
        yield _growth("a first page of other houses", *self._first_pages(count))
        yield from self._served(count)

    def _times(self) -> dict[str, float]:
        """Return the seconds of a page, of `migrate` from the version before, and of a backup."""
        found = {}
        with visit(self.url("house_0")) as house:
            for name, address in PAGES.items():
                found[name] = _best_page(house, address)
        self._copy("old", "to_migrate")
        found["migrate"] = _seconds(lambda: self._manage("to_migrate", "migrate"))
        self._do("DROP DATABASE to_migrate")
        found["migrate with nothing to do"] = min(
            _seconds(lambda: self._manage("house_0", "migrate")) for _time in range(2)
        )
        found["a backup"] = min(
            _seconds(
                lambda: self._manage("house_0", "backup", "--to", str(self.folder / "backups"))
            )
            for _time in range(2)
        )
        return found

    def _first_pages(self, count: int) -> tuple[float, float]:
        """Return the median of connecting to the same house, and to others, and asking for lines.

        A house that nobody asked for is not in the memory of the server.
        """

        def first(name: str) -> float:
            def ask() -> None:
                self._do("SELECT max(id) FROM inventory_postingline", name)
                self._do("SELECT count(*) FROM inventory_balance", name)

            return _seconds(ask)

        some = range(1, count, max(1, count // ROUNDS))
        return (
            statistics.median(first("house_0") for _each in some),
            statistics.median(first(f"house_{number}") for number in some),
        )

    def _served(self, count: int) -> Iterator[Row]:
        """Measure some houses that are served at once, each by processes of its own."""
        before = self._memory_mb()
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
            server = (self._memory_mb() - before) / len(seconds)
        yield _row("seconds until a house answers", "manage.py serve", max(seconds), START_SECONDS)
        yield _row("MB of a house that is served", f"{SERVED} at once", max(megabytes), PROCESS_MB)
        yield _row("MB of the server for each of them", "its connections", server, PROCESS_MB)

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

    def _manage(self, name: str, *command: str) -> None:
        done = serving.manage(self.folder, *command, DATABASE_URL=self.url(name))
        if done.returncode:
            raise SystemExit(f"{command} of {name}: {done.stdout}{done.stderr}")

    def _memory_mb(self) -> float:
        return _memory_mb(self.server.pid)


def _best_page(house: Visitor, address: str) -> float:
    found = [house.read("owner", address) for _round in range(ROUNDS)]
    assert {read.status for read in found} == {200}
    return min(read.ms for read in found) / 1_000


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


def _seconds(act: Callable[[], object]) -> float:
    began = time.perf_counter()
    act()
    return time.perf_counter() - began


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

"""What papers cost: beside WeasyPrint alone, beside one by one, and who opens a page meanwhile.

An invoice is made from its rows, beside WeasyPrint drawing the very same HTML. Many papers are made
by the processes of the print room, beside one after the other. The service answers with a demo's
data while fifty people ask for an invoice at the same moment, and another one opens the first page
until the last paper has come. All turns alternate, so that what else the machine does disturbs both
alike.
"""

import json
import statistics
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from http.client import HTTPConnection
from pathlib import Path

from tests import serving
from tests.benchmarks.bench_guessers import Person
from tests.storms import storm

NAME = "papers"
# How many times WeasyPrint alone an invoice may take, and as fast as one by one many must be.
PRINTING, MANY_FASTER = 1.15, 1.5
# How many times as long the first page may take beside papers, and the memory of a process that has
# made them all may be that of one which has made a few.
BESIDE, MEMORY = 2.0, 1.1
LINES = (1, 50)
TIMES, ROUNDS = 9, 2
WAITING, FEW, ALL = 50, 100, 1_000
LINE = "<tr><td>{}</td><td>Jar of 1 lb, clover</td><td class='number'>1,284.50</td></tr>"


def measure() -> None:
    """Print milliseconds of invoices with so many lines, of ours and of WeasyPrint alone."""
    from django.core.management import call_command

    from apiary_sales.billing import papers
    from apiary_sales.billing.services import invoices
    from inventory.shared import documents, press
    from tests import builders
    from tests.billing.conftest import jars, order_of

    call_command("migrate", verbosity=0, interactive=False)
    shelf = builders.place("shelf", "shelf")
    product = builders.product("Jar")
    builders.packed_lot(product, shelf, sum(LINES))
    ready, found = press.ready(), {}
    for count in LINES:
        order = order_of(builders.customer(f"Shop {count}"), *[jars(product, 1)] * count)
        invoice = invoices.issue(order=order, issued_by=builders.person(), key=builders.new_key())
        html = str(
            documents.render_html(papers.invoice_template(invoice), papers.invoice_context(invoice))
        )
        taken: tuple[list[float], list[float]] = ([], [])
        for _time in range(TIMES):
            began = time.perf_counter()
            ready.make_html(string=html, url_fetcher=ready.fetcher).write_pdf(
                stylesheets=[ready.style], font_config=ready.fonts
            )
            between = time.perf_counter()
            papers.invoice(invoice)
            taken[0].append(1_000 * (between - began))
            taken[1].append(1_000 * (time.perf_counter() - between))
        # The first of each makes things ready.
        found[count] = [min(each[1:]) for each in taken]
    print(json.dumps(found))


def print_many() -> None:
    """Print papers a second, one by one and by the print room, and the memory of its processes."""
    from inventory.shared import press, print_room

    html = f"<table class='lines'>{''.join(LINE.format(number) for number in range(10))}</table>"
    press.paper(html)
    began = time.perf_counter()
    for _paper in range(FEW):
        press.paper(html)
    one_by_one = FEW / (time.perf_counter() - began)
    resident = []
    with print_room.opened(), ThreadPoolExecutor(4) as people:
        for count in (FEW, ALL):
            began = time.perf_counter()
            list(people.map(lambda _paper: print_room.printed(press.paper, html), range(count)))
            seconds = time.perf_counter() - began
            room = print_room._room
            assert room is not None
            resident.append(sum(_resident(process.pid) for process in room._processes.values()))
    print(json.dumps({"one": one_by_one, "many": ALL / seconds, "resident": resident}))


def _resident(pid: int | None) -> int:
    with suppress(FileNotFoundError), open(f"/proc/{pid}/status") as status:
        return next(int(line.split()[1]) // 1024 for line in status if line.startswith("VmRSS"))
    return 0


def rows() -> Iterator[tuple[str, str, float, float, bool]]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    with tempfile.TemporaryDirectory(prefix="honey-papers-") as name:
        folder = Path(name)
        with storm.database_of("sqlite", name) as (url, _server):
            found = storm.asked_of_the_house("measure", folder, url, __name__)
            many = storm.asked_of_the_house("print_many", folder, url, __name__)
        for count, (alone, ours) in found.items():
            work, ratio = f"{NAME}: WeasyPrint alone, {count} lines", ours / alone
            against = f"{alone:.0f} ms → {ours:.0f} ms"
            yield work, against, round(ratio, 2), PRINTING, ratio <= PRINTING
        work, ratio = f"{NAME}: {ALL} by processes, over one by one", many["many"] / many["one"]
        against = f"{many['one']:.1f} → {many['many']:.1f} a second"
        yield work, against, round(ratio, 2), MANY_FASTER, ratio >= MANY_FASTER
        before, after = many["resident"]
        work, ratio = f"{NAME}: memory after {ALL}, over {FEW}", after / before
        yield work, f"{before} MB → {after} MB", round(ratio, 2), MEMORY, ratio <= MEMORY
        quiet, beside = _seconds_for_home(folder / "demo")
        work, ratio = f"{NAME}: the first page beside {WAITING}", beside / quiet
        against = f"{quiet * 1_000:.0f} ms → {beside * 1_000:.0f} ms"
        yield work, against, round(ratio, 2), BESIDE, ratio <= BESIDE


def _seconds_for_home(folder: Path) -> tuple[float, float]:
    """Return the median of seconds for the first page, quiet and beside papers."""
    made = serving.manage(folder, "demo", "--short", "--no-serve")
    if made.returncode:
        raise SystemExit(made.stderr)
    quiet, beside = [], []
    with serving.service(folder) as port:
        person = Person(port, {})
        # The first makes the presses ready.
        for _time in range(2):
            _take_paper(person)
            person.seconds_for_home()
        for _round in range(ROUNDS):
            quiet += [person.seconds_for_home() for _page in range(12)]
            with ThreadPoolExecutor(WAITING) as people:
                asked = [people.submit(_take_paper, person) for _paper in range(WAITING)]
                while not all(each.done() for each in asked):
                    beside.append(person.seconds_for_home())
            for each in asked:
                each.result()
    return statistics.median(quiet), statistics.median(beside)


def _take_paper(person: Person) -> None:
    connection = HTTPConnection("127.0.0.1", person.port, timeout=900)
    connection.request("GET", "/money/invoices/1/pdf/", headers=person.headers)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    if (answer.status, content[:5]) != (200, b"%PDF-"):
        raise SystemExit(f"A paper was answered {answer.status}.")

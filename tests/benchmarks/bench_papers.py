"""How much slower the first page is while fifty papers are made, and what papers cost.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_papers.py

The real server answers, with a demo's data. Fifty people ask for an invoice at the same moment, and
another one opens the first page until the last paper has come. Quiet turns and turns beside papers
alternate, so that what else the machine does disturbs both alike.
"""

import statistics
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection

from inventory.shared import press, print_room
from tests import serving
from tests.benchmarks.bench_guessers import Person, demo

__all__ = ["demo"]

PAPERS = 50
ROUNDS = 2
PRINTED = 60
LINE = "<tr><td>{}</td><td>Jar of 1 lb, clover</td><td class='number'>1,284.50</td></tr>"


def test_the_first_page_beside_fifty_papers_is_printed(demo):
    quiet, beside, waits = [], [], []
    with serving.service(demo) as port:
        person = Person(port, {})
        # The first makes the presses ready.
        for _time in range(2):
            _paper_seconds(person)
            person.seconds_for_home()
        for _round in range(ROUNDS):
            quiet += [person.seconds_for_home() for _page in range(12)]
            with ThreadPoolExecutor(PAPERS) as people:
                asked = [people.submit(_paper_seconds, person) for _paper in range(PAPERS)]
                while not all(each.done() for each in asked):
                    beside.append(person.seconds_for_home())
            waits += [each.result() for each in asked]

    ratio = statistics.median(beside) / statistics.median(quiet)
    print(f"\nthe first page takes {ratio:.2f} times as long beside {PAPERS} papers")
    for name, times in (("quiet", quiet), ("beside papers", beside)):
        middle, slow = statistics.median(times), max(times)
        print(f"  {name}: median {middle * 1000:.0f} ms, at most {slow * 1000:.0f} ms")
    print(f"  the last paper came after {max(waits):.1f} s")


def test_papers_by_processes_over_papers_one_by_one_are_printed():
    html = f"<table class='lines'>{''.join(LINE.format(number) for number in range(10))}</table>"
    press.paper(html)
    began = time.perf_counter()
    for _paper in range(PRINTED):
        press.paper(html)
    one_by_one = time.perf_counter() - began
    kilobytes = []
    with print_room.opened(), ThreadPoolExecutor(4) as people:
        for times in (8, PRINTED, PRINTED):
            began = time.perf_counter()
            list(people.map(lambda _paper: print_room.printed(press.paper, html), range(times)))
            seconds = time.perf_counter() - began
            room = print_room._room
            assert room is not None
            kilobytes.append([_resident(process.pid) for process in room._processes.values()])
    print(f"\n{PRINTED} papers by {print_room.PRESSES} processes: {one_by_one / seconds:.2f} times")
    print("  as fast as one by one; resident MB of each process at the start, then and at the end:")
    print(f"  {kilobytes}, {threading.active_count()} threads")


def _resident(pid: int | None) -> int:
    with open(f"/proc/{pid}/status") as status:
        return next(int(line.split()[1]) // 1024 for line in status if line.startswith("VmRSS"))


def _paper_seconds(person: Person) -> float:
    began = time.perf_counter()
    connection = HTTPConnection("127.0.0.1", person.port, timeout=900)
    connection.request("GET", "/money/invoices/1/pdf/", headers=person.headers)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    assert (answer.status, content[:5]) == (200, b"%PDF-")
    return time.perf_counter() - began

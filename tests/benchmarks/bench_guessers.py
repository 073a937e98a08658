"""How much slower the first page is while twelve guess passwords, over a quiet service.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_guessers.py

The real server answers, with a demo's data. Quiet turns and turns under guessers alternate, so
that what else the machine does disturbs both alike; the ratio is of the medians. The guessers are
processes of their own: they share the cores with the service, and nothing else. Once all come from
one address, which is locked soon; once each try comes from a new address for a new name, as through
a proxy, which nothing locks: then each password is hashed.
"""

import os
import re
import signal
import statistics
import subprocess
import sys
import time
from collections import Counter
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode

import pytest

from tests import serving

GUESSERS = 12
ROUNDS = 6
PAGES_A_TURN = 12

# It gets the page to sign in once, and sends its form without end.
GUESSER = """
import http.client, itertools, random, re, sys, urllib.parse

port, spread, number = int(sys.argv[1]), sys.argv[2] == "spread", int(sys.argv[3])
facts = {
    "X-Forwarded-Proto": "https",
    "Host": "bench.example",
    "Referer": "https://bench.example/account/sign-in/",
}


def asked(method, body=None, **headers):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    connection.request(method, "/account/sign-in/", body, headers)
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer, text


if not spread:
    facts = {}
answer, text = asked("GET", **facts)
cookie = answer.headers["Set-Cookie"].partition(";")[0]
token = re.search('name="csrfmiddlewaretoken" value="([^"]+)"', text)[1]
facts |= {"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded"}
for count in itertools.count():
    name = f"name-{number}-{count}" if spread else random.choice(["odile", "bram", "suki", "ines"])
    if spread:
        facts["X-Forwarded-For"] = ".".join(str(random.randint(1, 250)) for part in range(4))
    fields = {"csrfmiddlewaretoken": token, "username": name, "password": f"guess-{count}"}
    answer, text = asked("POST", urllib.parse.urlencode(fields), **facts)
    print(answer.status, flush=True)
"""


class Person:
    """Somebody who is signed in and opens the first page."""

    def __init__(self, port: int, headers: dict[str, str]) -> None:
        self.port, self.headers = port, headers
        page = self._ask("GET", "/account/sign-in/")
        self.headers["Cookie"] = page[1][0]
        token = re.search('name="csrfmiddlewaretoken" value="([^"]+)"', page[2])[1]
        fields = {
            "csrfmiddlewaretoken": token,
            "username": "odile",
            "password": "clover-and-comb",
            "next": "/",
        }
        self.headers["Content-Type"] = "application/x-www-form-urlencoded"
        status, cookies, _text = self._ask("POST", "/account/sign-in/", urlencode(fields))
        assert status == 302
        self.headers["Cookie"] = "; ".join(cookies)

    def seconds_for_home(self) -> float:
        began = time.perf_counter()
        status, _cookies, text = self._ask("GET", "/")
        seconds = time.perf_counter() - began
        assert (status, "Thistlemere" in text) == (200, True)
        return seconds

    def _ask(self, method: str, path: str, body: str | None = None) -> tuple[int, list[str], str]:
        connection = HTTPConnection("127.0.0.1", self.port, timeout=120)
        connection.request(method, path, body, self.headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        cookies = [each.partition(";")[0] for each in answer.headers.get_all("Set-Cookie", [])]
        connection.close()
        return answer.status, cookies, text


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Path:
    """A demo's data: of DEMO_DATA where that is given, else made anew, which takes minutes."""
    folder = tmp_path_factory.mktemp("guessed") / "data"
    if kept := os.environ.get("DEMO_DATA"):
        serving.copy_database(Path(kept) / "honey.sqlite3", folder / "honey.sqlite3")
        made = serving.manage(folder, "migrate")
    else:
        made = serving.manage(folder, "demo", "--no-serve")
    assert made.returncode == 0, made.stderr
    return folder


@pytest.mark.parametrize("way", ["one address", "spread"])
def test_the_first_page_under_guessers_is_printed(demo, tmp_path, way):
    script = tmp_path / "guesser.py"
    script.write_text(GUESSER)
    settings = {"HTTPS": "true", "ALLOWED_HOSTS": "127.0.0.1,bench.example"}
    headers = {
        "X-Forwarded-Proto": "https",
        "X-Forwarded-For": "203.0.113.7",
        "Host": "bench.example",
        "Referer": "https://bench.example/account/sign-in/",
    }
    spread = way == "spread"
    quiet, guessed, answers, seconds = [], [], Counter(), 0.0
    with serving.service(demo, **(settings if spread else {})) as port:
        person = Person(port, dict(headers) if spread else {})
        person.seconds_for_home()
        guessers = []
        for number in range(GUESSERS):
            with (tmp_path / f"{number}.txt").open("w") as told:
                command = [sys.executable, str(script), str(port), way, str(number)]
                guessers.append(subprocess.Popen(command, stdout=told))
        # They begin, and are locked where they can be.
        time.sleep(8)
        for _round in range(ROUNDS):
            _send(guessers, signal.SIGSTOP)
            # What waits is answered before it is quiet.
            time.sleep(6 if spread else 1)
            quiet += [person.seconds_for_home() for _page in range(PAGES_A_TURN)]
            _send(guessers, signal.SIGCONT)
            time.sleep(1)
            began, before = time.perf_counter(), _answers(tmp_path)
            guessed += [person.seconds_for_home() for _page in range(PAGES_A_TURN)]
            seconds += time.perf_counter() - began
            answers += _answers(tmp_path) - before
        _send(guessers, signal.SIGCONT)
        for guesser in guessers:
            guesser.kill()
            guesser.wait()

    ratio = statistics.median(guessed) / statistics.median(quiet)
    print(f"\n{way}: the first page takes {ratio:.2f} times as long under {GUESSERS} guessers")
    for name, times in (("quiet", quiet), ("guessed", guessed)):
        middle, slow = statistics.median(times), statistics.quantiles(times, n=10)[-1]
        print(f"  {name}: median {middle * 1000:.0f} ms, one in ten above {slow * 1000:.0f} ms")
    print(f"  {answers.total() / seconds:.1f} guesses a second were answered: {dict(answers)}")


def _send(guessers: list[subprocess.Popen], what: signal.Signals) -> None:
    for guesser in guessers:
        guesser.send_signal(what)


def _answers(folder: Path) -> Counter[str]:
    """Return how often the guessers got each status so far."""
    return Counter(line for path in folder.glob("*.txt") for line in path.read_text().split())

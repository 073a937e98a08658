"""A process that reads pages of one house, one after the other, and says what each took.

`Visitor` starts it for a database and asks it; the other half of this module is that process. Its
clock goes on from the moment at which the houses of `house.py` are open.
"""

import json
import os
import re
import resource
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LINK = re.compile(r'(?:href|src)="(/[^"#?]*)(\?[^"#]*)?')
# Files, papers and what leads out of the house; signing out would end the walk.
NOT_READ = re.compile(r"pdf|csv|xlsx|paper|sign_out|signed_out|static|schema|export|logo|archive")


@dataclass(frozen=True)
class Read:
    """What an answer took: milliseconds, queries where they were counted, and its status."""

    ms: float
    queries: int
    status: int
    size: int


class Visitor:
    """A house that is visited, in a process of its own."""

    def __init__(self, url: str) -> None:
        code = "from tests.benchmarks import visitor; visitor.answer()"
        self._process = subprocess.Popen(
            [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
            cwd=ROOT,
            env={**os.environ, **_settings(url)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, **question: Any) -> Any:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(question) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        if not line:
            raise SystemExit(f"The process that reads {question} ended.")
        return json.loads(line)

    def read(self, role: str, address: str, *, counted: bool = False) -> Read:
        return Read(**self.ask(role=role, address=address, counted=counted))

    def close(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()


@contextmanager
def visit(url: str) -> Iterator[Visitor]:
    with closing(Visitor(url)) as visitor:
        yield visitor


def _settings(url: str) -> dict[str, str]:
    from tests.benchmarks import house

    return {
        "DATABASE_URL": url,
        "DATA_DIR": house._folder(),
        "SECRET_KEY": "of-the-benchmarks-alone-" * 3,
        "ALLOWED_HOSTS": "testserver",
        "HTTPS": "false",
        "DEBUG": "false",
    }


def answer() -> None:
    """Answer questions, a line each, until there are no more."""
    from tests.benchmarks import house

    with house.at_its_time():
        asked = Asked()
        for line in sys.stdin:
            question = json.loads(line)
            act = getattr(asked, question.pop("act", "read"))
            print(json.dumps(act(**question)), flush=True)


class Asked:
    """What the process answers."""

    def __init__(self) -> None:
        self.clients: dict[str, Any] = {}

    def _client(self, role: str) -> Any:
        from django.test import Client

        from apiary_sales.accounts.models import User

        if role not in self.clients:
            client = Client(raise_request_exception=False)
            client.force_login(User.objects.get(role=role))
            self.clients[role] = client
        return self.clients[role]

    def read(self, role: str, address: str, counted: bool) -> dict[str, Any]:
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        client = self._client(role)
        queries = 0
        start = perf_counter()
        if counted:
            # The log has a last place: a full one would count none.
            connection.queries_log.clear()
            with CaptureQueriesContext(connection) as captured:
                found, size = _whole(client.get(address))
            queries = len(captured)
        else:
            found, size = _whole(client.get(address))
        ms = 1000 * (perf_counter() - start)
        return {"ms": ms, "queries": queries, "status": found, "size": size}

    def total(self, sql: str) -> float:
        """Ask the database for one thing, written by hand; return the milliseconds it took."""
        from django.db import connection

        start = perf_counter()
        with connection.cursor() as cursor:
            cursor.execute(sql)
            cursor.fetchall()
        return 1000 * (perf_counter() - start)

    def memory(self) -> int:
        """Return the most memory that this process ever had, in megabytes."""
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024

    def walk(self, role: str) -> dict[str, str]:
        """Return an address of each page and API reading of a role, by the name of its view.

        Pages that need no argument, and the first of each kind that is linked from a page.
        """
        client = self._client(role)
        found = dict(_without_arguments())
        waiting = [address for name, address in found.items() if not name.startswith("api:")]
        while waiting:
            response = client.get(waiting.pop(0))
            if response.status_code != 200 or response.streaming:
                continue
            for path, _query in LINK.findall(response.content.decode(errors="replace")):
                name = _name_of(path)
                if name and name not in found and not NOT_READ.search(name):
                    found[name] = path
                    waiting.append(path)
        return found | dict(_of_the_api(found))

    def busy(self) -> dict[str, str]:
        """Return the addresses of the things that most was done with."""
        from django.urls import reverse

        from apiary_sales.customers.models import Customer
        from inventory.stock.models import Lot

        found = {}
        for code in ("storeroom", "stand", "big-1", "never-empty", "B-001"):
            found[f"the place {code}"] = reverse("inventory:place_detail", args=[code])
            found[f"api: the place {code}"] = reverse("api:place-detail", args=[code])
        lot = Lot.objects.filter(kind=Lot.Kind.BLEND, balances__place__code="never-empty").last()
        if lot:
            found["the lot of most origins"] = reverse("inventory:lot_detail", args=[lot.code])
        buyer = Customer.objects.get(name="Harrow Lane Grocery")
        for name in ("customers:detail", "orders:customer_orders", "billing:customer_account"):
            found[f"{name} of the busiest customer"] = reverse(name, args=[buyer.pk])
        found["the stock of a product"] = reverse("orders:stock_detail", args=["1-lb"])
        return found


def _whole(response: Any) -> tuple[int, int]:
    content = b"".join(response.streaming_content) if response.streaming else response.content
    return response.status_code, len(content)


def _without_arguments() -> Iterator[tuple[str, str]]:
    from django.urls import NoReverseMatch, reverse

    for name in _names():
        if NOT_READ.search(name):
            continue
        try:
            yield name, reverse(name)
        except NoReverseMatch:
            continue


def _of_the_api(found: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Yield the addresses of the API at which it answers with the same as a page of one thing."""
    from django.urls import NoReverseMatch, resolve, reverse

    from tests.api.test_every_reading import READINGS

    for page, names in READINGS.items():
        if page not in found:
            continue
        named = resolve(found[page]).kwargs.values()
        for name in names:
            if named and not NOT_READ.search(name):
                with suppress(NoReverseMatch):
                    yield f"api:{name}", reverse(f"api:{name}", args=[*named])


def _names(resolver: Any = None, prefix: str = "") -> Iterator[str]:
    from django.urls import URLPattern, get_resolver

    for each in (resolver or get_resolver()).url_patterns:
        if isinstance(each, URLPattern):
            if each.name and prefix != "admin:":
                yield prefix + each.name
        else:
            yield from _names(each, f"{prefix}{each.namespace}:" if each.namespace else prefix)


def _name_of(path: str) -> str:
    from django.urls import Resolver404, resolve

    try:
        return resolve(path).view_name
    except Resolver404:
        return ""

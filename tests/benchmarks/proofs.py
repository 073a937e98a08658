"""What each proof of `verify_ledger` costs, beside one GROUP BY over each table that it reads.

Both are measured in a process of its own on the large house, by turns, the best of each. What is
read is taken from the statements of the proof. The last two rows are of `--all`: the memory of its
process after every proof, and the proofs that it adds.
"""

import json
import os
import re
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from functools import partial
from time import perf_counter
from typing import Any

from tests.benchmarks.starting import ROOT

NAME = "proofs"
# How many times as long as the sums over the same tables; milliseconds that are as good as none.
TIMES, SAME_MS = 5.0, 50
# Megabytes of a process that has made all proofs.
MEMORY_MB = 300
ROUNDS = 2


def rows(url: str) -> Iterator[tuple[str, str, float, float, bool]]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    code = "from tests.benchmarks import proofs; proofs.tell()"
    with tempfile.TemporaryDirectory(prefix="honey-proofs-") as folder:
        asked = subprocess.Popen(
            [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
            cwd=ROOT,
            env={**os.environ, "DATABASE_URL": url, "DATA_DIR": folder, "DEBUG": "false"},
            stdout=subprocess.PIPE,
            text=True,
        )
        assert asked.stdout is not None
        for line in asked.stdout:
            yield _row(**json.loads(line))
        if asked.wait():
            raise SystemExit("The process that proves the books ended.")


def _row(
    proof: str, ms: float, plain_ms: float, faults: int, megabytes: float
) -> tuple[str, str, float, float, bool]:
    if megabytes:
        work = f"{NAME}: MB of a process that made all"
        return work, "", round(megabytes, 1), MEMORY_MB, megabytes <= MEMORY_MB
    ratio = round(ms / plain_ms, 2) if plain_ms else 0.0
    held = not faults and (ms <= TIMES * plain_ms or ms <= SAME_MS)
    return f"{NAME}: {proof}", f"{plain_ms:.0f} ms → {ms:.0f} ms", ratio, TIMES, held


def tell() -> None:
    """Print what each proof costs, a line of JSON each."""
    from apiary_sales.keeping import books
    from inventory.stock.models import Seal

    newest = Seal.objects.newest()
    usual = books.proofs(whole=False, proved_until=newest.number if newest else 0)
    # Last, what `--all` does more than every night.
    added = [proof for proof in books.proofs() if _name(proof) not in map(_name, usual)]
    for proof in (*usual, *added):
        _say(**_cost(proof))
    # Linux counts it in kilobytes.
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1_024 / 1_000_000
    _say(proof="", ms=0, plain_ms=0, faults=0, megabytes=peak)


def _say(**found: Any) -> None:
    print(json.dumps(found), flush=True)


def _name(proof: Callable[[], Iterator[str]]) -> str:
    if isinstance(proof, partial):
        after = proof.keywords["after"]
        return "rows of new seals" if after else "rows of all seals"
    return f"{proof.__module__.partition('.')[2]}.{proof.__name__}"


def _cost(proof: Callable[[], Iterator[str]]) -> dict[str, Any]:
    from django.db import connection

    from apiary_sales.keeping.one_state import reading

    statements: list[str] = []

    def note(execute, statement, params, many, context):
        statements.append(statement)
        return execute(statement, params, many, context)

    ms = plain_ms = float("inf")
    faults = 0
    sums: list[str] = []
    for turn in range(ROUNDS):
        with reading():
            began = perf_counter()
            if turn == 0:
                with connection.execute_wrapper(note):
                    faults = sum(1 for _fault in proof())
                sums = list(_sums(statements))
            else:
                faults = sum(1 for _fault in proof())
            ms = min(ms, 1_000 * (perf_counter() - began))
            began = perf_counter()
            with connection.cursor() as cursor:
                for statement in sums:
                    cursor.execute(statement)
                    while cursor.fetchmany(1_000):
                        pass
            plain_ms = min(plain_ms, 1_000 * (perf_counter() - began))
        if ms > 20_000:
            break
    return {"proof": _name(proof), "ms": ms, "plain_ms": plain_ms, "faults": faults, "megabytes": 0}


def _sums(statements: list[str]) -> Iterator[str]:
    """Yield a statement for each table that was read: its whole figures, by its first reference."""
    from django.apps import apps
    from django.db import models

    read = {name for each in statements for name in re.findall(r'(?:FROM|JOIN) "(\w+)"', each)}
    for model in apps.get_models(include_auto_created=True):
        if model._meta.db_table not in read:
            continue
        fields = model._meta.concrete_fields
        references = [each for each in fields if isinstance(each, models.ForeignKey)]
        figures = [each for each in fields if isinstance(each, models.IntegerField)]
        key = (references or [model._meta.pk])[0].column
        added = [f'sum("{each.column}")' for each in figures]
        yield (
            f'SELECT "{key}", {", ".join(["count(*)", *added])} '
            f'FROM "{model._meta.db_table}" GROUP BY "{key}"'
        )

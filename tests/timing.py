"""Where the time of a test run went, shown at its end: by area, and apart what runs elsewhere."""

from collections import Counter
from pathlib import PurePath

import pytest

# A run of fewer tests than this is looked at test by test.
FEW = 200
# The property of a test under which it keeps what a test run of its own said.
INNER_RUN = "inner run"


def show(terminal: pytest.TerminalReporter) -> None:
    """Write a table of seconds and tests by folder, and what runs within this one said."""
    reports = [
        report
        for kind in ("passed", "failed", "skipped")
        for report in terminal.getreports(kind)
        if isinstance(report, pytest.TestReport)
    ]
    seconds, tests = Counter(), Counter()
    for report in reports:
        area = _area(report.nodeid)
        seconds[area] += report.duration
        tests[area] += report.when == "call"
    if sum(tests.values()) >= FEW:
        terminal.section("where the time went")
        for area, spent in seconds.most_common():
            terminal.line(f"{spent:8.1f} s  {tests[area]:5,} tests  {area}")
        terminal.line(
            f"{seconds.total():8.1f} s  {tests.total():5,} tests  in all workers together"
        )
    for report in reports:
        for name, said in report.user_properties:
            if name == INNER_RUN and report.when == "call":
                terminal.section(f"within {report.nodeid}")
                terminal.line(said)


def _area(nodeid: str) -> str:
    """Return the folder of a test, or its file where it is in no folder of `tests`."""
    parts = PurePath(nodeid.split("::")[0]).parts
    return "/".join(parts[:2])

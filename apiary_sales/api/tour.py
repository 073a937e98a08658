"""The tour of the API: a page of commands for `curl` with what they answer, in `TOUR.md`.

A test runs the commands and compares the answers. So what is sent and answered here is true, and
the description of the API takes its examples from it.
"""

import json
import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from string import Template
from typing import Any

PAGE = Path(__file__).parent / "TOUR.md"
# What the commands call the address of the house, and of its API.
HOUSE, API = "$HOUSE", "$HOUSE/api/v1"
FENCE = "```"


@dataclass(frozen=True)
class Block:
    """A part of the page: `kind` is heading, text or list, or what is said to be in a fence.

    That is sh for a command, and json or plain for its answer.
    """

    kind: str
    text: str

    @property
    def points(self) -> list[str]:
        """Return the points of a list; a text is one."""
        if self.kind != "list":
            return [self.text]
        return [line.removeprefix("- ") for line in self.text.splitlines()]


@dataclass(frozen=True)
class Call:
    """What a command sends, and the answer that is shown below it, if any."""

    method: str
    path: str
    body: Any
    answer: Any


@cache
def blocks() -> list[Block]:
    """Return the parts of the page, the title first."""
    return list(_read(PAGE.read_text(encoding="utf-8")))


def _read(text: str) -> Iterator[Block]:
    parts = re.split(rf"^{FENCE}(\w+)\n(.*?)^{FENCE}\n", text, flags=re.MULTILINE | re.DOTALL)
    # What is outside of a fence, then the kind of the next one and what is in it.
    for index in range(0, len(parts), 3):
        for paragraph in parts[index].split("\n\n"):
            if words := paragraph.strip():
                yield _written(words)
        if index + 1 < len(parts):
            yield Block(parts[index + 1], parts[index + 2].rstrip("\n"))


def _written(words: str) -> Block:
    if words.startswith("#"):
        return Block("heading", words.lstrip("# "))
    return Block("list" if words.startswith("- ") else "text", words)


@cache
def calls() -> list[Call]:
    """Return what the commands of the page send to the API, and what they are answered."""
    found = []
    known: dict[str, str] = {}
    last: Any = None
    parts = blocks()
    for block, following in zip(parts, [*parts[1:], Block("text", "")], strict=True):
        if block.kind != "sh":
            continue
        for name, field in re.findall(r"^(\w+)=\$\(field (\w+)\)$", block.text, re.MULTILINE):
            known[name] = str(last[field])
        if API in block.text:
            answer = json.loads(following.text) if following.kind == "json" else None
            found.append(_call(Template(block.text).safe_substitute(known), answer))
            last = answer
    return found


def _call(command: str, answer: Any) -> Call:
    words = shlex.split(command)
    path = next(word for word in words if word.startswith(API)).removeprefix(HOUSE)
    body = next((after for word, after in pairwise(words) if word == "-d"), "")
    return Call("post" if body else "get", path, json.loads(body) if body else None, answer)

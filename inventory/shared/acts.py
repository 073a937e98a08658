"""One act of the house: its transaction, and what its parts share.

An act is often made of others: a sale is an order, a hand-over, a bill and a payment. All are parts
of the first one, in its transaction. Within it something is looked up once (`kept`), and what
follows from the rows that were saved is written once, at its end (`waiting`). Nothing goes on after
a part was refused, so a service that goes on, as one that brings in many rows does, is no act but
makes one of each.
"""

import functools
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any, ParamSpec, TypeVar

from django.db import transaction

Asked = ParamSpec("Asked")
Made = TypeVar("Made")
# What waits to be written at the end of an act, by a key of its own.
Waiting = dict[Any, Any]


class _Act:
    def __init__(self) -> None:
        self.kept: dict[str, Any] = {}
        self.waiting: dict[Callable[[Waiting], None], Waiting] = {}


_open: ContextVar[_Act | None] = ContextVar("open_act", default=None)


def act(service: Callable[Asked, Made]) -> Callable[Asked, Made]:
    """Let a service be one act with those it calls, in one transaction: all of it, or nothing."""

    @functools.wraps(service)
    def acting(*args: Asked.args, **kwargs: Asked.kwargs) -> Made:
        if _open.get() is not None:
            try:
                return service(*args, **kwargs)
            except BaseException:
                # A part that is refused undoes the whole, so that it needs no savepoint of its own.
                transaction.set_rollback(True)
                raise
        opened = _Act()
        with transaction.atomic():
            token = _open.set(opened)
            try:
                made = service(*args, **kwargs)
            finally:
                _open.reset(token)
            for write, waiting in opened.waiting.items():
                write(waiting)
            return made

    return acting


def kept(name: str, look_up: Callable[[], Made]) -> Made:
    """Return what was looked up before in the same act, or look it up; always so without one."""
    opened = _open.get()
    if opened is None:
        return look_up()
    if name not in opened.kept:
        opened.kept[name] = look_up()
    found: Made = opened.kept[name]
    return found


def waiting(write: Callable[[Waiting], None]) -> Waiting | None:
    """Return what `write` is given at the end of the act, to be added to; None without an act."""
    opened = _open.get()
    return None if opened is None else opened.waiting.setdefault(write, {})

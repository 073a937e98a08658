"""What the box "Find anything" finds: each app registers its kinds of things here.

An app says it in `ready()` of its `AppConfig`, in a module of its own (`found_things.py`):

    findable.register(Findable(name="customer", number=110, model="customers.Customer", …))

`apiary_sales.finding` keeps one row of text for each thing, in the transaction that saves the
thing. A save by `save()`, `create()` or `get_or_create()` is seen by itself; a service that writes
such rows in bulk calls `written(rows)` after it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Protocol

from django.apps import apps
from django.db.models import Model, Q, QuerySet
from django.dispatch import Signal
from django.utils.functional import Promise

# Sent with `rows` by `written`, and without anything by `erased`.
rows_written = Signal()
rows_erased = Signal()


@dataclass(frozen=True)
class SearchWords:
    """By what a thing is found.

    `codes` are numbers that stand alone: one that is typed as a whole puts the thing first, and
    there are at most two. `words` are found by any part, `phones` by any part of their digits,
    `cents` as an amount.
    """

    codes: Sequence[str] = ()
    words: Sequence[str] = ()
    phones: Sequence[str] = ()
    cents: int | None = None


@dataclass(frozen=True)
class ThingPage:
    """A page of a thing, for who has one of the permissions; without any, for everybody."""

    permissions: tuple[str, ...]
    url: Callable[[Any], str]

    def is_open_to(self, user: Any) -> bool:
        return not self.permissions or any(user.has_perm(name) for name in self.permissions)


@dataclass(frozen=True)
class OwnedRows:
    """Rows by which a thing is found too, such as the lines of an order that add up to its total.

    `fields` are those that count, `owner` is the key of the thing that a row belongs to, None where
    the row does not count for it.
    """

    model: str
    fields: tuple[str, ...]
    owner: Callable[[Any], int | None]

    @property
    def model_class(self) -> type[Model]:
        return apps.get_model(self.model)


@dataclass(frozen=True, eq=False)
class Findable:
    """One kind of thing: which rows, by what they are found, and how a result shows them.

    `label` heads a list of them, `one` names one of them.

    `number` orders the kinds on the page; it stands in the keys of the index, so that it stays the
    same for ever. `fields` are the fields that `reads` reads: a save of others leaves the index
    alone. `belongs` and `where` say the same of one row and of all: which rows of the model are of
    this kind. `seen_by` gives the rows that a person may see
    where that is not all of them. `along` and `beside` are fetched with the rows that are shown, as
    by `select_related` and `prefetch_related`.
    """

    name: str
    number: int
    label: str | Promise
    one: str | Promise
    model: str
    fields: tuple[str, ...]
    reads: Callable[[Any], SearchWords]
    pages: tuple[ThingPage, ...]
    title: Callable[[Any], str] = str
    line: Callable[[Any], str] = lambda _row: ""
    day: Callable[[Any], date | None] = lambda _row: None
    cents: Callable[[Any], int | None] = lambda _row: None
    owned: tuple[OwnedRows, ...] = ()
    along: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    belongs: Callable[[Any], bool] = lambda _row: True
    where: Q = field(default_factory=Q)
    seen_by: Callable[[Any], QuerySet[Any] | None] = lambda _user: None

    @property
    def model_class(self) -> type[Model]:
        return apps.get_model(self.model)

    def rows(self) -> "QuerySet[Any]":
        return self.model_class._default_manager.filter(self.where).order_by("pk")

    def page_for(self, user: Any) -> ThingPage | None:
        """Return the first page that a person may open, or None."""
        return next((page for page in self.pages if page.is_open_to(user)), None)


class HelpText(Protocol):
    """A page of help, as the box finds it."""

    @property
    def title(self) -> str: ...

    @property
    def summary(self) -> str: ...

    @property
    def text(self) -> str: ...

    @property
    def url(self) -> str: ...

    @property
    def permissions(self) -> tuple[str, ...]: ...


_registered: dict[str, Findable] = {}
# Asked at each save.
_of_model: dict[type[Model], list[Findable]] = {}
_help: list[Callable[[str], Iterable[HelpText]]] = []


def register(kind: Findable) -> None:
    others = [each for each in _registered.values() if each.name != kind.name]
    if any(each.number == kind.number for each in others):
        raise ValueError(f"Another kind of thing has the number {kind.number}.")
    _registered[kind.name] = kind
    _of_model.clear()


def kinds() -> list[Findable]:
    """Return all kinds in the order in which they are shown."""
    return sorted(_registered.values(), key=lambda kind: kind.number)


def kinds_of(model: type[Model]) -> list[Findable]:
    """Return the kinds that rows of a model may be of."""
    if model not in _of_model:
        _of_model[model] = [kind for kind in kinds() if kind.model_class is model]
    return _of_model[model]


def owners_of(model: type[Model]) -> list[tuple[Findable, OwnedRows]]:
    """Return the kinds whose things own rows of a model, and how."""
    return [(kind, each) for kind in kinds() for each in kind.owned if each.model_class is model]


def written(rows: Iterable[Model]) -> None:
    """Say that rows were written in bulk, which no signal of Django tells."""
    rows_written.send(sender=None, rows=list(rows))


def erased() -> None:
    """Say that something was erased for good, of which the index may keep nothing."""
    rows_erased.send(sender=None)


def register_help(pages: Callable[[str], Iterable[HelpText]]) -> None:
    """Let pages of help be found: `pages` gives those of a language."""
    if pages not in _help:
        _help.append(pages)


def help_pages(language: str) -> list[HelpText]:
    return [page for pages in _help for page in pages(language)]


def in_one_line(*parts: str) -> str:
    """Return what there is of some parts in one line.

    >>> in_one_line("shop", "", "Red Hill")
    'shop · Red Hill'
    """
    return " · ".join(part for part in parts if part)

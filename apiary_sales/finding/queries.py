"""What the box finds for a person: whole codes first, then amounts, then parts, kind by kind."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import Q
from django.utils.formats import get_format
from django.utils.functional import Promise
from django.utils.translation import get_language, gettext_lazy

from apiary_sales.finding import engine, rules
from apiary_sales.finding.engine import KindWanted
from apiary_sales.finding.models import SearchEntry, key_of, kind_of, object_of
from apiary_sales.finding.rules import SearchQuestion
from inventory.shared import findable
from inventory.shared.findable import Findable

# Under the box while a person types, on the page, and on the page of one kind.
A_KIND_TYPING, A_KIND, OF_ONE_KIND = 3, 10, 50
EXACT_MAX = AMOUNT_MAX = 20
HELP_MAX = 5
_HELP = gettext_lazy("Help")
# Where a person sees some rows of a kind only, this many are looked at for them.
LOOKED_AT = 200


@dataclass(frozen=True)
class Result:
    """One thing that was found, as a line of the list."""

    kind: str
    label: str | Promise
    title: str
    line: str
    url: str
    day: date | None = None
    cents: int | None = None


@dataclass(frozen=True)
class Group:
    """Results under one heading; `before` is the key from which on there are more, if any."""

    kind: str
    label: str | Promise
    results: Sequence[Result]
    before: int | None = None


@dataclass(frozen=True)
class ThingsFound:
    """All that was found: what bears exactly what was typed, what has that amount, and parts."""

    question: SearchQuestion
    exact: Sequence[Result] = ()
    of_amount: Sequence[Result] = ()
    groups: Sequence[Group] = ()

    @property
    def count(self) -> int:
        in_groups = sum(len(group.results) for group in self.groups)
        return len(self.exact) + len(self.of_amount) + in_groups

    @property
    def has_more(self) -> bool:
        return any(group.before is not None for group in self.groups)


def read(asked: str) -> SearchQuestion:
    """Read what was typed in the number style and currency of the house."""
    return rules.read(
        asked, decimal_sign=get_format("DECIMAL_SEPARATOR"), currency=settings.CURRENCY
    )


def find(
    asked: str,
    *,
    user: Any,
    a_kind: int = A_KIND,
    only: str = "",
    before: int | None = None,
) -> ThingsFound:
    """Return what a person may see of what fits, `a_kind` of each kind, the newest first.

    At most five questions to the index and one to each kind that is shown. A question of one or two
    letters finds codes and names that begin with it, and amounts; not parts of words.
    `only` is the name of one kind, `before` the key after which its list goes on.
    """
    question = read(asked)
    seen = [kind for kind in findable.kinds() if kind.page_for(user)]
    if only:
        seen = [kind for kind in seen if kind.name == only]
    if not question.words or not seen:
        return ThingsFound(question)
    limits = {kind.number: kind.seen_by(user) for kind in seen}
    wanted = [
        KindWanted(
            kind.number, a_kind + EXACT_MAX if limits[kind.number] is None else LOOKED_AT, before
        )
        for kind in seen
    ]
    exact = [] if before is not None else _exact(question, seen)
    of_amount: list[int] = []
    if question.cents is not None and before is None:
        of_amount = engine.amounts(connection, question.cents, wanted)
    ask = engine.beginnings if question.is_short else engine.parts
    parts = [] if question.is_short and before else ask(connection, question, wanted)

    may_see = _seen([*exact, *of_amount, *parts], seen, limits)
    exact = [key for key in exact if key in may_see][:EXACT_MAX]
    of_amount = [key for key in of_amount if key in may_see and key not in exact][:AMOUNT_MAX]
    first = {*exact, *of_amount}
    by_kind: dict[int, list[int]] = {kind.number: [] for kind in seen}
    for key in dict.fromkeys(parts):
        if key in may_see and key not in first:
            by_kind[kind_of(key)].append(key)
    listed = {number: keys[:a_kind] for number, keys in by_kind.items()}
    results = _results([*first, *(key for keys in listed.values() for key in keys)], seen, user)
    groups = []
    for kind in seen:
        there = [results[key] for key in listed[kind.number] if key in results]
        has_more = len(by_kind[kind.number]) > a_kind and not question.is_short
        if there:
            before_next = listed[kind.number][-1] if has_more else None
            groups.append(Group(kind.name, kind.label, there, before_next))
    if not only:
        groups += _help(question, user)
    return ThingsFound(
        question,
        [results[key] for key in exact if key in results],
        [results[key] for key in of_amount if key in results],
        groups,
    )


def _exact(question: SearchQuestion, seen: Iterable[Findable]) -> list[int]:
    """Return keys of what bears one of the whole codes, in the order of the kinds."""
    within = SearchEntry.objects.filter(kind__in=[kind.number for kind in seen])
    fits = [Q(code__in=question.codes), Q(other_code__in=question.codes)]
    keys = {
        key
        for condition in fits
        for key in within.filter(condition).values_list("pk", flat=True)[:LOOKED_AT]
    }
    return sorted(keys, key=lambda key: (kind_of(key), -key))


def _seen(keys: Sequence[int], seen: Iterable[Findable], limits: dict[int, Any]) -> set[int]:
    """Return those of the keys whose things a person may see."""
    may_see = set(keys)
    for kind in seen:
        limit = limits[kind.number]
        of_kind = {object_of(key): key for key in may_see if kind_of(key) == kind.number}
        if limit is not None and of_kind:
            allowed = set(limit.filter(pk__in=of_kind).values_list("pk", flat=True))
            may_see -= {key for pk, key in of_kind.items() if pk not in allowed}
    return may_see


def _results(keys: Iterable[int], seen: Iterable[Findable], user: Any) -> dict[int, Result]:
    """Return what is shown of each thing, by its key; what is no more is left out."""
    wanted = set(keys)
    results = {}
    for kind in seen:
        ids = [object_of(key) for key in wanted if kind_of(key) == kind.number]
        page = kind.page_for(user)
        if not ids or page is None:
            continue
        rows = kind.rows().filter(pk__in=ids)
        for row in rows.select_related(*kind.along).prefetch_related(*kind.beside):
            results[key_of(kind.number, row.pk)] = Result(
                kind.name,
                kind.one,
                kind.title(row),
                kind.line(row),
                page.url(row),
                kind.day(row),
                kind.cents(row),
            )
    return results


def _help(question: SearchQuestion, user: Any) -> list[Group]:
    """Return the pages of help with all the words, those with a word in the title first."""
    found = []
    for page in findable.help_pages(get_language() or "en"):
        if page.permissions and not any(user.has_perm(name) for name in page.permissions):
            continue
        title = rules.fold(page.title)
        text = f"{title} {rules.fold(page.summary)} {rules.fold(page.text)}"
        if all(word in text for word in question.words):
            in_title = any(word in title for word in question.words)
            result = Result("help", _HELP, page.title, page.summary, page.url)
            found.append((not in_title, result))
    found.sort(key=lambda each: each[0])
    results = [result for _order, result in found[:HELP_MAX]]
    return [Group("help", _HELP, results)] if results else []

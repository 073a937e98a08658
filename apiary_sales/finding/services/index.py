"""The only writer of the index: kept with each save, and made anew as a whole."""

from collections.abc import Callable, Iterable, Sequence
from itertools import groupby
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.models import Model

from apiary_sales.finding import engine, rules
from apiary_sales.finding.models import SearchBuild, SearchEntry, key_of, keys_of_kind
from inventory.shared import acts, findable
from inventory.shared.findable import Findable

# Raised whenever other things are found, or by other words: the next `migrate` makes it anew.
LAYOUT = 1
BATCH = 1000
# Things by their kind and key, with the row that was just saved; those without are read again.
Things = dict[tuple[Findable, int], Any]
COLUMNS = ["kind", "text", "code", "other_code", "amount_cents"]


def entry_of(kind: Findable, row: Any) -> SearchEntry:
    """Return the entry of a thing, not saved."""
    found = kind.reads(row)
    codes = list(dict.fromkeys(rules.code_of(code) for code in found.codes if code))
    # A telephone number stands where there is no second code.
    codes += [digits for phone in found.phones if (digits := rules.code_of(rules.digits_of(phone)))]
    code, other = [*codes, None, None][:2]
    return SearchEntry(
        id=key_of(kind.number, row.pk),
        kind=kind.number,
        text=rules.text_of(found),
        code=code,
        other_code=other,
        amount_cents=None if found.cents is None else abs(found.cents),
    )


def follow_save(
    sender: type[Model],
    instance: Model,
    update_fields: Sequence[str] | None = None,
    raw: bool = False,
    using: str = DEFAULT_DB_ALIAS,
    **_named: Any,
) -> None:
    """Keep the entry of a row that was just saved, unless nothing that it reads was."""
    kept = [
        kind
        for kind in findable.kinds_of(sender)
        if update_fields is None or not set(kind.fields).isdisjoint(update_fields)
    ]
    # Rows of a fixture come before what they point at; whoever loads one makes the index anew.
    if not raw:
        _keep_all({(kind, instance.pk): instance for kind in kept}, using)


def follow_owned(
    sender: type[Model],
    instance: Model,
    update_fields: Sequence[str] | None = None,
    raw: bool = False,
    using: str = DEFAULT_DB_ALIAS,
    **_named: Any,
) -> None:
    """Keep the entry of the thing that owns a row which was just saved or deleted."""
    for kind, owned in findable.owners_of(sender):
        counts = update_fields is None or not set(owned.fields).isdisjoint(update_fields)
        owner = owned.owner(instance) if counts and not raw else None
        if owner is not None:
            _keep_things(kind, [owner], using)


def follow_delete(
    sender: type[Model], instance: Model, using: str = DEFAULT_DB_ALIAS, **_named: Any
) -> None:
    kinds = findable.kinds_of(sender)
    for kind in kinds if using == DEFAULT_DB_ALIAS else []:
        (acts.waiting(_write) or {}).pop((kind, instance.pk), None)
    keys = [key_of(kind.number, instance.pk) for kind in kinds]
    SearchEntry.objects.using(using).filter(pk__in=keys).delete()


def follow_rows(rows: Iterable[Model], **_named: Any) -> None:
    """Keep the entries of rows that were written in bulk."""
    for model, group in groupby(rows, key=type):
        of_model = list(group)
        for kind in findable.kinds_of(model):
            # Read again with what is beside them, once for all.
            _keep_all({(kind, row.pk): None if kind.beside else row for row in of_model})
        for kind, owned in findable.owners_of(model):
            owners = {owner for row in of_model if (owner := owned.owner(row)) is not None}
            _keep_things(kind, owners)


def follow_erasure(**_named: Any) -> None:
    """Leave nothing in the index of what was just erased, once that is certain.

    After the act: writing all of a large index together takes longer than a till may wait.
    """
    connection = connections[DEFAULT_DB_ALIAS]
    transaction.on_commit(lambda: engine.forget(connection), robust=True)


def _keep_things(kind: Findable, keys: Iterable[int], using: str = DEFAULT_DB_ALIAS) -> None:
    """Keep the entries of things as they are in the database."""
    _keep_all({(kind, key): None for key in keys}, using)


def _keep_all(things: Things, using: str = DEFAULT_DB_ALIAS) -> None:
    """Keep the entries of things, by their rows or read again; within an act once, at its end."""
    waiting = acts.waiting(_write) if using == DEFAULT_DB_ALIAS else None
    if waiting is None:
        _write(things, using)
        return
    for thing, row in things.items():
        waiting[thing] = row or waiting.get(thing)


def _write(things: Things, using: str = DEFAULT_DB_ALIAS) -> None:
    entries: list[SearchEntry] = []
    again: dict[Findable, list[int]] = {}
    for (kind, key), row in things.items():
        # What was fetched along before the save may be old.
        if row is None or getattr(row, "_prefetched_objects_cache", None):
            again.setdefault(kind, []).append(key)
        elif kind.belongs(row):
            entries.append(entry_of(kind, row))
    for kind, keys in again.items():
        rows = kind.rows().using(using).filter(pk__in=keys).prefetch_related(*kind.beside)
        entries += [entry_of(kind, row) for row in rows]
    # In one order, so that of two acts none waits for the other.
    _keep(sorted(entries, key=lambda entry: entry.pk), using)


def _keep(entries: Sequence[SearchEntry], using: str = DEFAULT_DB_ALIAS) -> None:
    if entries:
        SearchEntry.objects.using(using).bulk_create(
            entries,
            batch_size=BATCH,
            update_conflicts=True,
            unique_fields=["id"],
            update_fields=COLUMNS,
        )


def bring_up_to_date(*, using: str = DEFAULT_DB_ALIAS) -> None:
    """Make the index where there is none, only a part, or one of another layout."""
    tables = set(connections[using].introspection.table_names())
    models: list[type[Model]] = [SearchEntry, SearchBuild]
    models += [kind.model_class for kind in findable.kinds()]
    if not tables.issuperset(model._meta.db_table for model in models):
        return  # One app was migrated alone.
    made_anew = engine.make(connections[using])
    build = SearchBuild.objects.using(using).first()
    if build is None or not build.is_whole or build.layout != LAYOUT:
        rebuild(using=using)
    elif made_anew:
        engine.fill(connections[using])


def rebuild(*, using: str = DEFAULT_DB_ALIAS, tell: Callable[[str], None] | None = None) -> int:
    """Make all entries anew, in short transactions beside the work of the house; return how many.

    The rows of a batch are locked while they are read, so that an entry is never older than its
    row. Entries of things that are no more are taken away.
    """
    engine.make(connections[using])
    SearchBuild.objects.using(using).all().delete()
    build = SearchBuild.objects.using(using).create(layout=LAYOUT)
    numbers = [kind.number for kind in findable.kinds()]
    SearchEntry.objects.using(using).exclude(kind__in=numbers).delete()
    count = 0
    for kind in findable.kinds():
        made = _rebuild_kind(kind, using)
        count += made
        if tell:
            tell(f"{kind.label}: {made:,}")
    build.is_whole = True
    build.save(using=using)
    return count


def differences(*, using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Return a sentence for each entry that is not as it would be made now."""
    there = {entry.pk: entry for entry in SearchEntry.objects.using(using).iterator()}
    faults = []
    for kind in findable.kinds():
        rows = kind.rows().using(using).prefetch_related(*kind.beside)
        for row in rows.iterator(chunk_size=BATCH):
            wanted = entry_of(kind, row)
            kept = there.pop(wanted.pk, None)
            if kept is None:
                faults.append(f"{kind.name} {row.pk} ({row}) is not in the index")
            elif any(getattr(kept, name) != getattr(wanted, name) for name in COLUMNS):
                faults.append(f"{kind.name} {row.pk} ({row}) is found by what it was before")
    faults += [f"The entry {key} is of nothing that there is" for key in there]
    return faults


def _rebuild_kind(kind: Findable, using: str) -> int:
    _first, last = keys_of_kind(kind.number)
    after, made = 0, 0
    while True:
        with transaction.atomic(using=using):
            rows = list(
                kind.rows()
                .using(using)
                .filter(pk__gt=after)
                .prefetch_related(*kind.beside)
                .select_for_update(of=("self",))[:BATCH]
            )
            until = key_of(kind.number, rows[-1].pk) if len(rows) == BATCH else last
            stale = SearchEntry.objects.using(using).filter(
                pk__gt=key_of(kind.number, after), pk__lte=until
            )
            stale.exclude(pk__in=[key_of(kind.number, row.pk) for row in rows]).delete()
            _keep([entry_of(kind, row) for row in rows], using)
        made += len(rows)
        if len(rows) < BATCH:
            return made
        after = rows[-1].pk

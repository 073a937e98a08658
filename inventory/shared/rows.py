"""Some fields of some rows, saved in one statement."""

from collections.abc import Sequence
from functools import cache

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Model

from inventory.shared.prepared import Given, PreparedUpdate


def save_fields(rows: Sequence[Model], *fields: str) -> None:
    """Save these fields of rows of one model, and tell nobody; raises `ObjectDoesNotExist`."""
    if len(rows) == 1:
        [row] = rows
        values = {name: getattr(row, name) for name in fields}
        if not _change_of_one(type(row), fields).make(key=row.pk, **values):
            raise ObjectDoesNotExist(f"{row} is not there any more.")
    elif rows:
        type(rows[0])._base_manager.bulk_update(rows, fields)


@cache
def _change_of_one(model: type[Model], fields: tuple[str, ...]) -> PreparedUpdate:
    key = Given("key", model._meta.pk)
    columns = {each.name: each for each in model._meta.concrete_fields}
    values = {name: Given(name, columns[name]) for name in fields}
    return PreparedUpdate(lambda: model._base_manager.filter(pk=key), **values)

"""Some fields of some rows, saved in one statement."""

from collections.abc import Sequence
from functools import cache

from django.db.models import Model

from inventory.shared.questions import Change, Given


def save_fields(rows: Sequence[Model], *fields: str) -> None:
    """Save these fields of rows of one model, and tell nobody; raises `DoesNotExist`."""
    if len(rows) == 1:
        [row] = rows
        values = {name: getattr(row, name) for name in fields}
        if not _change_of_one(type(row), fields).make(key=row.pk, **values):
            raise type(row).DoesNotExist
    elif rows:
        type(rows[0])._base_manager.bulk_update(rows, fields)


@cache
def _change_of_one(model: type[Model], fields: tuple[str, ...]) -> Change:
    key = Given("key", model._meta.pk)
    values = {name: Given(name, model._meta.get_field(name)) for name in fields}
    return Change(lambda: model._base_manager.filter(pk=key), **values)

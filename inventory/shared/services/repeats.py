"""The same form sent twice: the first one counts, and the second is told what that one made."""

from functools import cache
from typing import Any

from django.db import IntegrityError, models
from django.utils.translation import gettext as _

from inventory.shared.errors import AlreadyRecorded
from inventory.shared.prepared import Given, PreparedQuery


def refuse_repeat(
    model: type[models.Model], key: str, *, made: Any = None, message: str = ""
) -> None:
    """Raise `AlreadyRecorded` when a row of this model carries this idempotency key already.

    The error hands on `made`, or the row itself. Call it with what the act locks locked, so that
    of two who send the same form at the same moment one waits and is refused.
    """
    # Asked in the cheapest way first: nearly every form comes once.
    if _of_key(model).finds(key=key):
        made = made or model._default_manager.get(idempotency_key=key)
        raise AlreadyRecorded(message or _("This was recorded already."), made=made)


@cache
def _of_key(model: type[models.Model]) -> PreparedQuery[tuple[Any, ...]]:
    key = Given("key", models.CharField())
    rows = model._default_manager.filter(idempotency_key=key).order_by()
    return PreparedQuery(lambda: rows.values_list("pk"))


def rival(error: IntegrityError, model: type[models.Model], key: str) -> AlreadyRecorded | None:
    """Return what to raise where a parallel act was faster with this key; None for other errors.

    What it made is looked up when somebody asks: the transaction is broken until it is undone.
    """
    if "idempotency_key" not in str(error):
        return None
    return AlreadyRecorded(
        _("This was recorded already."),
        look_up=model._default_manager.filter(idempotency_key=key).first,
    )

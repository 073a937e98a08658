"""The same form sent twice: the first one counts, and the second is told what that one made."""

from typing import Any

from django.db import IntegrityError, models
from django.utils.translation import gettext as _

from inventory.shared.errors import AlreadyRecorded


def refuse_repeat(
    model: type[models.Model], key: str, *, made: Any = None, message: str = ""
) -> None:
    """Raise `AlreadyRecorded` when a row of this model carries this idempotency key already.

    The error hands on `made`, or the row itself. Call it with what the act locks locked, so that
    of two who send the same form at the same moment one waits and is refused.
    """
    rows = model._default_manager.filter(idempotency_key=key)
    # Asked in the cheapest way first: nearly every form comes once.
    if rows.exists():
        raise AlreadyRecorded(message or _("This was recorded already."), made=made or rows.get())


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

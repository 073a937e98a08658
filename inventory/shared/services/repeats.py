"""The same form sent twice: the first one counts, and the second is told what that one made."""

from typing import Any

from django.db import models
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

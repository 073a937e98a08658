"""Remove a row that nothing refers to, and say in words what does where it can't be removed."""

from typing import Any

from django.db import transaction
from django.db.models import ProtectedError
from django.utils.translation import gettext as _

from inventory.shared.errors import CannotReverse

KINDS_NAMED_MAX = 3


@transaction.atomic
def remove_unused(row: Any) -> None:
    """Delete a row; raises `CannotReverse` with what it was used for where it was used."""
    try:
        with transaction.atomic():
            row.delete()
    except ProtectedError as error:
        kinds = {str(used._meta.verbose_name_plural) for used in error.protected_objects}
        raise CannotReverse(
            _("%(name)s was used since, for %(kinds)s. Undo that first, or take it out of use.")
            % {"name": row, "kinds": ", ".join(sorted(kinds)[:KINDS_NAMED_MAX])}
        ) from None

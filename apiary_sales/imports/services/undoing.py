"""Undo a whole import: everything it made, or nothing where some of it was used since."""

from django.apps import apps
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, ImportKind
from apiary_sales.imports.rows.writers import WRITERS
from apiary_sales.imports.services import claims
from inventory.shared import keys
from inventory.shared.errors import BadValue, CannotReverse, HouseError, NotAllowedNow
from inventory.shared.people import Person


def undo(*, brought_in: Import, undone_by: Person, reason: str, key: str) -> Import:
    """Undo an import that is complete, the newest row first, and return it.

    Stock and money are reversed by entries of their own; what is in no entry is removed. Raises
    `CannotReverse` with the row and the reason where something was used since, `NotAllowedNow`,
    `BadValue` without a reason.
    """
    reason = reason.strip()
    if not reason:
        raise BadValue(_("Say why it is undone."), parameter="reason")
    with transaction.atomic():
        brought_in = Import.objects.select_for_update().get(pk=brought_in.pk)
        if brought_in.state == Import.State.UNDONE:
            raise CannotReverse(_("This was undone already."))
        if brought_in.state != Import.State.COMPLETE:
            raise NotAllowedNow(_("This list was not brought in, so there is nothing to undo."))
        if brought_in.kind != ImportKind.PAST_SALES:
            _take_back_rows(brought_in, undone_by, reason, key)
        brought_in.state = Import.State.UNDONE
        brought_in.undone_by, brought_in.undone_at = undone_by, timezone.now()
        brought_in.undone_reason = reason
        brought_in.save(update_fields=["state", "undone_by", "undone_at", "undone_reason"])
    # They count no longer; they are deleted a few at a time.
    claims.delete_past_sales(brought_in)
    return brought_in


def _take_back_rows(brought_in: Import, undone_by: Person, reason: str, key: str) -> None:
    writer = WRITERS[brought_in.kind]
    for row in brought_in.rows.order_by("-number"):
        for position, (label, pk) in enumerate(reversed(row.made)):
            found = apps.get_model(label)._default_manager.filter(pk=pk).first()
            if found is None:
                # It was removed by hand since, which is what undoing it comes to.
                continue
            try:
                writer.take_back(
                    found,
                    brought_in,
                    undone_by,
                    keys.part(key, f"{row.number} {position}"),
                    reason,
                )
            except HouseError as error:
                raise CannotReverse(
                    _("Row %(row)s can't be undone: %(why)s")
                    % {"row": row.number, "why": error.message}
                ) from error

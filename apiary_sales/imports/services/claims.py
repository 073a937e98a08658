"""Who works on an import: one at a time, and what a machine that stopped has left is taken up."""

from collections.abc import Callable

from django.db import models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.imports.models import Import, PastSale
from inventory.shared.errors import NotAllowedNow

# Told after each batch how many of how many are done; raises what stops the work.
Report = Callable[[int, int], None]
DELETED_AT_ONCE = 2_000


def locked(begun: Import, *states: str) -> Import:
    """Return an import locked and as it is now; raises `NotAllowedNow` for another state."""
    now = Import.objects.select_for_update().get(pk=begun.pk)
    left_behind = now.state in Import.BUSY and not now.is_busy
    if now.state not in states and not (left_behind and now.state != Import.State.READING):
        raise NotAllowedNow(
            _("This list is %(state)s now, so this can't be done.")
            % {"state": now.get_state_display()}
        )
    return now


@transaction.atomic
def claim(begun: Import, *, state: str, states: tuple[str, ...]) -> Import:
    """Take an import up for work that takes long, from one of these states; return it."""
    now = locked(begun, *states)
    now.state = state
    now.touched_at = timezone.now()
    now.message = ""
    now.save(update_fields=["state", "touched_at", "message"])
    return now


def give_back(begun: Import, *, state: str, message: str) -> None:
    """End work that came to nothing: the import is as it was, and says why."""
    Import.objects.filter(pk=begun.pk).update(state=state, message=message)


def touch(begun: Import) -> None:
    """Say that work on it goes on."""
    Import.objects.filter(pk=begun.pk).update(touched_at=timezone.now())


def delete_past_sales(begun: Import) -> None:
    """Delete the past sales of an import that does not count, in short batches."""
    delete_in_batches(PastSale.objects.filter(of_import=begun))


def delete_in_batches(rows: models.QuerySet[models.Model]) -> None:
    """Delete rows a few at a time, so that nobody else who writes waits long."""
    while keys := list(rows.order_by("pk").values_list("pk", flat=True)[:DELETED_AT_ONCE]):
        with transaction.atomic():
            rows.model._default_manager.filter(pk__in=keys).delete()

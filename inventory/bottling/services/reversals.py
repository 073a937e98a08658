"""Undo by a reversing posting, with what hangs on the posting put right too."""

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun
from inventory.bottling.services import goods, jar_changes, returned_jars
from inventory.shared.errors import CannotReverse
from inventory.shared.people import Person
from inventory.stock import rules
from inventory.stock.models import DipReading, Posting
from inventory.stock.services import ledger


@transaction.atomic
def reverse(*, posting: Posting, recorded_by: Person, key: str, note: str = "") -> Posting:
    """Undo `posting` and return the reversal; a run goes back to "undone", a dip to unaccepted.

    A lot that jars were added to loses them again, with their cost and parents.

    Raises `CannotReverse` when it was undone already, when its stock has moved on, or for a sale.
    """
    if posting.kind in rules.UNDONE_ELSEWHERE:
        raise CannotReverse(_("A sale or a return is undone from its order, not from here."))
    if posting.kind in rules.FOLLOWS_ANOTHER:
        raise CannotReverse(
            _(
                "This entry follows from another one, so it can't be undone itself. Correct that "
                "one."
            )
        )
    # Lock the run before the items, as everywhere else: a fill check may run in parallel.
    list(BottlingRun.objects.select_for_update().filter(posting=posting))
    jar_changes.refuse_undo_of_used(posting)
    reversal = ledger.reverse(posting=posting, recorded_by=recorded_by, key=key, note=note)
    BottlingRun.objects.filter(posting=posting).update(status=BottlingRun.Status.REVERSED)
    DipReading.objects.filter(accepted=posting).update(accepted=None)
    jar_changes.undo(posting)
    jar_changes.undo_run(posting)
    returned_jars.undo(posting)
    goods.take_off_lot(posting)
    return reversal

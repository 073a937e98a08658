"""Recalls and their exercises: started, finished and kept; and the holds they lead to."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import Recall, RecallAct
from inventory.bottling.services import holds
from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Balance, Lot

NOTES_MAX = 4000
# So many lots that may still be sold are named in a refusal.
LOOSE_NAMED = 20


@transaction.atomic
def start(
    *,
    kind: str,
    code: str,
    lots: Sequence[Lot],
    reason: str,
    answer: dict[str, Any],
    percent_accounted: Decimal | None,
    percent_found: Decimal | None,
    started_by: Person,
    key: str,
) -> Recall:
    """Start the clock of a recall of these lots, and keep what the books answered.

    Raises `BadValue`, `AlreadyRecorded`.
    """
    problems = Problems()
    if kind not in Recall.Kind.values:
        problems.add("kind", _("Choose a mock or a real recall."))
    if not lots:
        problems.add("lots", _("Choose the lots."))
    if not reason.strip():
        problems.add("reason", _("Enter why, for example “yearly exercise”."))
    problems.raise_any()
    refuse_repeat(Recall, key)
    recall = Recall(
        kind=kind,
        code=code.strip(),
        reason=reason.strip(),
        answer=answer,
        percent_accounted=percent_accounted,
        percent_found=percent_found,
        started_by=started_by,
        idempotency_key=key,
    )
    try:
        with transaction.atomic():
            checks.save_checked(recall)
    except IntegrityError:
        # The same form was saved by a parallel request. Any other error is raised again.
        refuse_repeat(Recall, key)
        raise
    recall.lots.set(lots)
    return recall


@transaction.atomic
def finish(
    *,
    recall: Recall,
    notes: str,
    answer: dict[str, Any],
    finished_by: Person,
    lots_are_settled: bool = False,
) -> Recall:
    """Stop the clock, and keep what was checked and what the books answer now.

    A real recall whose lots are still in the house and not on hold is finished only with
    `lots_are_settled`. Raises `BadValue` without notes or for such lots, `NotAllowedNow` when it
    is finished already.
    """
    problems = Problems()
    if not notes.strip():
        problems.add("notes", _("Enter what was checked, and what came out."))
    elif len(notes.strip()) > NOTES_MAX:
        problems.add("notes", _("Enter 4,000 characters or fewer."))
    problems.raise_any()
    recall = Recall.objects.select_for_update(no_key=True).get(pk=recall.pk)
    if recall.is_finished:
        raise NotAllowedNow(_("This recall is finished already."))
    if recall.kind == Recall.Kind.REAL and not lots_are_settled:
        _refuse_loose_lots(recall)
    recall.notes = notes.strip()
    recall.answer_at_finish = answer
    # Never before the start, whatever a clock that was set back says.
    recall.finished_at = max(timezone.now(), recall.started_at)
    recall.finished_by = finished_by
    recall.save(update_fields=["notes", "answer_at_finish", "finished_at", "finished_by"])
    return recall


def _refuse_loose_lots(recall: Recall) -> None:
    """Raise where goods of a real recall are in the house and may still be sold."""
    family = Lot.objects.family_keys(recall.lots.values_list("pk", flat=True))
    loose = (
        Balance.objects.filter(
            lot__in=family, is_physical=True, quantity__gt=0, lot__is_on_hold=False
        )
        .order_by("lot")
        .values_list("lot", "lot__code")
        .distinct()
    )
    codes = [code for _key, code in loose[: LOOSE_NAMED + 1]]
    if codes:
        named = ", ".join(codes[:LOOSE_NAMED]) + ("…" if len(codes) > LOOSE_NAMED else "")
        raise BadValue(
            _(
                "In the house and not on hold, so they can still be sold: %(lots)s. Put them on "
                "hold or write them off. If they may be sold, tick the box and send again."
            )
            % {"lots": named},
            parameter="lots_are_settled",
        )


@transaction.atomic
def hold(*, lots: Sequence[Lot], reason: str, held_by: Person, key: str) -> holds.LotsChanged:
    """Put these lots and all they went into on hold, and keep who did it and why.

    Raises as `holds.hold`, and `AlreadyRecorded`.
    """
    refuse_repeat(RecallAct, key)
    done = holds.hold(lots=lots, reason=reason, held_by=held_by)
    _note(RecallAct.Kind.HELD, done, reason, held_by, key)
    return done


@transaction.atomic
def release(
    *, lots: Sequence[Lot], reason: str, released_by: Person, key: str
) -> holds.LotsChanged:
    """Release what a recall of these lots holds, and nothing else; keep who did it and why.

    Raises as `holds.release`, and `AlreadyRecorded`.
    """
    refuse_repeat(RecallAct, key)
    done = holds.release(lots=lots, reason=reason, released_by=released_by)
    _note(RecallAct.Kind.RELEASED, done, reason, released_by, key)
    return done


def _note(kind: str, done: holds.LotsChanged, reason: str, person: Person, key: str) -> None:
    act = RecallAct.objects.create(
        kind=kind, reason=reason.strip(), done_by=person, idempotency_key=key
    )
    links = RecallAct.lots.through
    links.objects.bulk_create(
        [links(recallact_id=act.pk, lot_id=lot.pk) for lot in done.changed], batch_size=500
    )

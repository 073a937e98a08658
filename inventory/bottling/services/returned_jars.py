"""Jars that had left the house and came back: kept apart, then written off or released.

What was out of the house's hands may have been warm, opened or tampered with. Until somebody
decides, the pieces are at the place for returned goods: the ledger says how many of each lot, and
no sale, order, label, box or vessel takes any from there.
"""

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import ReturnedJars
from inventory.shared import checks, days
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.stock import own_places
from inventory.stock import rules as stock_rules
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.services import ledger

REASON_MAX = 300


@transaction.atomic
def set_aside(
    *,
    lot: Lot,
    place: Place,
    pieces: int,
    reason: str,
    recorded_by: Person,
    key: str,
    set_aside_on: date | None = None,
) -> ReturnedJars:
    """Carry pieces that came back from outside to the place for returned goods.

    They are in the books at `place`, where a return or a count brought them. This is ended by a
    decision, or by saying that it was a mistake. Without `set_aside_on` it happens now.
    Raises `BadValue` without a reason or for goods by weight, `NotEnoughStock`, `StockReserved`,
    `AlreadyRecorded`.
    """
    item = _item_of(lot)
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    problems = Problems()
    stock_rules.check_pieces(problems, "pieces", pieces)
    stock_rules.check_for_goods(problems, "place", place)
    if item.is_weighed:
        problems.add(
            "lot",
            _("%(item)s is kept by weight: write off what can't be sold any more.")
            % {"item": item.name},
        )
    _check_reason(problems, reason, _("Enter where the jars were, and why they came back."))
    checks.check_day(problems, "set_aside_on", set_aside_on)
    problems.raise_any()
    posting = ledger.post(
        kind=Posting.Kind.RETURN,
        lines=ledger.move(
            item=item,
            lot=lot,
            source=place,
            target=Place.objects.outside(Place.Kind.RETURNED),
            quantity=pieces,
        ),
        recorded_by=recorded_by,
        key=key,
        note=reason.strip(),
        occurred_at=days.moment(set_aside_on),
    )
    return ReturnedJars.objects.create(
        lot=lot, pieces=pieces, reason=reason.strip(), set_aside_by=recorded_by, set_aside=posting
    )


@transaction.atomic
def keep_apart(
    *,
    lot: Lot,
    place: Place,
    pieces: int,
    reason: str,
    recorded_by: Person,
    key: str,
    set_aside_on: date | None = None,
) -> ReturnedJars:
    """Set pieces aside that a person found at a place, as `set_aside` does.

    Raises `BadValue` too where the person may not act at the place.
    """
    problems = Problems()
    own_places.check(problems, "place", place, recorded_by)
    problems.raise_any()
    return set_aside(
        lot=lot,
        place=place,
        pieces=pieces,
        reason=reason,
        recorded_by=recorded_by,
        key=key,
        set_aside_on=set_aside_on,
    )


@transaction.atomic
def write_off(
    *,
    returned: ReturnedJars,
    pieces: int,
    recorded_by: Person,
    key: str,
    reason: str = "",
    decided_on: date | None = None,
) -> ReturnedJars:
    """Take so many of the returned pieces off the books as spoiled, now or on that day.

    Raises `BadValue` where they came back at a place at which the person may not act.
    """
    return _decide(
        returned,
        pieces,
        decision=ReturnedJars.Decision.SPOILED,
        kind=Posting.Kind.SPOILAGE,
        target=Place.objects.outside(Place.Kind.SPOILED),
        reason=reason,
        decided_by=recorded_by,
        decided_on=decided_on,
        key=key,
    )


@transaction.atomic
def release(
    *,
    returned: ReturnedJars,
    pieces: int,
    target: Place,
    reason: str,
    released_by: Person,
    key: str,
    decided_on: date | None = None,
) -> ReturnedJars:
    """Put so many of the returned pieces back on a shelf, on the word of a named person.

    They are then as other pieces of the lot: to be sold, relabelled, or emptied. The person and
    the reason are kept. Without `decided_on` it happens now. Raises `BadValue` without a reason.
    """
    problems = Problems()
    stock_rules.check_store(problems, "target", target)
    _check_reason(problems, reason, _("Enter why these jars may be sold or used again."))
    problems.raise_any()
    return _decide(
        returned,
        pieces,
        decision=ReturnedJars.Decision.RELEASED,
        kind=Posting.Kind.TRANSFER,
        target=target,
        reason=reason,
        decided_by=released_by,
        decided_on=decided_on,
        key=key,
    )


@transaction.atomic
def was_mistake(
    *, returned: ReturnedJars, recorded_by: Person, key: str, reason: str = ""
) -> Posting:
    """Put pieces that had never left back where they were, and return the reversing posting.

    Raises `NotAllowedNow` once anything was decided about them, `AlreadyRecorded`.
    """
    ledger.lock_items([_item_of(returned.lot)])
    ledger.refuse_repeat(key)
    together = list(
        ReturnedJars.objects.select_for_update().filter(set_aside=returned.set_aside_id)
    )
    if len(together) != 1 or together[0].decision:
        raise NotAllowedNow(_("It was decided already what happens with these jars."))
    set_aside_posting = Posting.objects.get(pk=returned.set_aside_id)
    reversal = ledger.reverse(
        posting=set_aside_posting, recorded_by=recorded_by, key=key, note=reason.strip()
    )
    # Both postings stay in the books; nothing waits for a decision any more.
    together[0].delete()
    return reversal


def undo(posting: Posting) -> None:
    """Let jars wait for a decision again once the posting of it is undone.

    Keeping them apart is not undone so; see `was_mistake`.
    """
    ReturnedJars.objects.filter(decided=posting).update(
        decision="", decided=None, decided_by=None, decision_reason=""
    )


def _decide(
    returned: ReturnedJars,
    pieces: int,
    *,
    decision: str,
    kind: str,
    target: Place,
    reason: str,
    decided_by: Person,
    decided_on: date | None,
    key: str,
) -> ReturnedJars:
    """Post what was decided of so many pieces, and keep it; the rest waits in a row of its own."""
    item = _item_of(returned.lot)
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    found = ReturnedJars.objects.select_for_update(of=("self",))
    returned = found.select_related("lot", "set_aside").get(pk=returned.pk)
    if returned.decision:
        raise NotAllowedNow(_("It was decided already what happens with these jars."))
    problems = Problems()
    stock_rules.check_pieces(problems, "pieces", pieces)
    if pieces > returned.pieces:
        problems.add(
            "pieces",
            _("Only %(there)s came back. Enter fewer.") % {"there": returned.pieces},
        )
    for line in returned.set_aside.lines.filter(quantity__lt=0).select_related("place"):
        own_places.check(problems, None, line.place, decided_by)
    _check_decided_after(problems, returned, decided_on)
    problems.raise_any()
    posting = ledger.post(
        kind=kind,
        lines=ledger.move(
            item=item,
            lot=returned.lot,
            source=Place.objects.outside(Place.Kind.RETURNED),
            target=target,
            quantity=pieces,
        ),
        recorded_by=decided_by,
        key=key,
        note=reason.strip(),
        # Of one day, the decision comes after the jars did.
        occurred_at=max(days.moment(decided_on), returned.set_aside.occurred_at),
    )
    if pieces < returned.pieces:
        ReturnedJars.objects.create(
            lot=returned.lot,
            pieces=returned.pieces - pieces,
            reason=returned.reason,
            set_aside_by=returned.set_aside_by,
            set_aside=returned.set_aside,
        )
    returned.pieces = pieces
    returned.decision, returned.decided = decision, posting
    returned.decided_by, returned.decision_reason = decided_by, reason.strip()
    returned.save()
    return returned


def _check_decided_after(
    problems: Problems, returned: ReturnedJars, decided_on: date | None
) -> None:
    """Add a problem for a decision before the day on which the jars were kept apart."""
    checks.check_day(problems, "decided_on", decided_on)
    kept_apart_on = timezone.localdate(returned.set_aside.occurred_at)
    if decided_on is not None and decided_on < kept_apart_on:
        problems.add(
            "decided_on",
            _("These jars were kept apart on %(day)s. Choose that day or a later one.")
            % {"day": date_format(kept_apart_on)},
        )


def _item_of(lot: Lot) -> Item:
    if lot.product is None:
        raise ValueError(f"{lot} is honey in bulk, not in pieces.")
    return lot.product.item


def _check_reason(problems: Problems, reason: str, missing: str) -> None:
    if not reason.strip():
        problems.add("reason", missing)
    elif len(reason.strip()) > REASON_MAX:
        problems.add("reason", _("Enter 300 characters or fewer."))

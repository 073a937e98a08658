"""Holds as they stand on a lot, and as they go on with honey that was mixed or bottled."""

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from inventory.stock.models import Lot, LotHold
from inventory.stock.signals import holds_changed

REASON_MAX = 300


def follow(lot: Lot, parents: Iterable[Lot]) -> None:
    """Put a lot on hold for whatever holds those it was made of, where it is not yet."""
    has = set(
        LotHold.objects.filter(lot=lot, released_at=None).values_list("because_of", flat=True)
    )
    open_holds = LotHold.objects.filter(lot__in=[each.pk for each in parents], released_at=None)
    made = []
    for hold in open_holds.select_related("lot"):
        if hold.pk in has:
            continue
        said = _("Made from lot %(lot)s, which is on hold. %(reason)s") % {
            "lot": hold.lot.code,
            "reason": hold.reason,
        }
        made.append(
            LotHold(
                lot=lot,
                cause=hold.cause,
                because_of=hold,
                asked_lots=hold.asked_lots,
                reason=said[:REASON_MAX],
                held_by=hold.held_by,
            )
        )
    if made:
        LotHold.objects.bulk_create(made)
        add_up([lot])


def add_up(lots: Sequence[Lot]) -> None:
    """Write what the open holds of these lots add up to."""
    reasons: dict[int, list[str]] = {}
    # In portions, since a database takes only so many keys in one question.
    for start in range(0, len(lots), 500):
        keys = [lot.pk for lot in lots[start : start + 500]]
        for key, reason in LotHold.objects.filter(lot__in=keys, released_at=None).values_list(
            "lot", "reason"
        ):
            reasons.setdefault(key, []).append(reason)
    changed = [lot for lot in lots if lot.is_on_hold != (lot.pk in reasons)]
    for lot in lots:
        lot.is_on_hold = lot.pk in reasons
        lot.hold_reason = _in_one_line(reasons.get(lot.pk, []))
    Lot.objects.bulk_update(lots, ["is_on_hold", "hold_reason"], batch_size=500)
    if changed:
        holds_changed.send(sender=Lot, lots=changed)


def _in_one_line(reasons: list[str]) -> str:
    line = " ".join(dict.fromkeys(reason for reason in reasons if reason))
    return line if len(line) <= REASON_MAX else f"{line[: REASON_MAX - 1]}…"

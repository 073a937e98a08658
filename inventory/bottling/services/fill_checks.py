"""Fill checks after a run: a failed one holds the packed lot from sale until it is released."""

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, FillCheck, FillWeight
from inventory.bottling.rules import fill_checks as rules
from inventory.bottling.services import jar_holds
from inventory.shared import checks
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Item, Lot
from inventory.stock.services import ledger

REASON_MAX = 300


@transaction.atomic
def record(
    *,
    run: BottlingRun,
    scheme: str,
    weights_milligrams: Sequence[int],
    checked_by: Person,
    key: str,
    tare_milligrams: int = 0,
    weights_are_right: bool = False,
) -> FillCheck:
    """Judge a recorded run by net weights, and keep the verdict with the weights.

    `weights_milligrams` are net; `tare_milligrams` says what was taken off each gross weight;
    `weights_are_right` confirms an average far from the label. When the check fails the packed
    lot is on hold, and what its jars have become. Raises `BadValue` for weights that cannot be or
    are too few, `NotAllowedNow` for a run that is not recorded, `AlreadyRecorded`.
    """
    run = (
        BottlingRun.objects.select_for_update()
        .select_related("product__item", "product__size")
        .get(pk=run.pk)
    )
    # A sale of the lot locks its item too, so none slips through while the lot goes on hold.
    ledger.lock_items(_items_held(run.packed_lot, run.product.item))
    refuse_repeat(FillCheck, key, message=_("This check was recorded already."))
    pieces_filled, lot = run.pieces_filled, run.packed_lot
    if run.status != BottlingRun.Status.RECORDED or pieces_filled is None or lot is None:
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s: only the jars of a recorded run can be checked.")
            % {"number": run.number, "status": run.get_status_display()}
        )
    rules.check_weights(
        run.size,
        pieces_filled=pieces_filled,
        scheme=scheme,
        weights_milligrams=weights_milligrams,
    )
    if not weights_are_right:
        rules.check_average(run.size, weights_milligrams, tare_milligrams)
    verdict = rules.judge(
        run.size,
        pieces_filled=pieces_filled,
        scheme=scheme,
        weights_milligrams=weights_milligrams,
    )
    check = FillCheck(
        run=run,
        scheme=scheme,
        tare_milligrams=tare_milligrams,
        checked_by=checked_by,
        has_passed=verdict.passed,
        reason=verdict.reason,
        idempotency_key=key,
    )
    checks.save_checked(check)
    FillWeight.objects.bulk_create(
        FillWeight(check_made=check, net_milligrams=milligrams) for milligrams in weights_milligrams
    )
    if not check.has_passed:
        failed = _("Fill check of %(day)s failed.") % {
            "day": timezone.localdate(check.checked_at).isoformat()
        }
        # A lot that is on hold for something else stays so for that, too.
        kept = lot.hold_reason if failed not in lot.hold_reason else ""
        jar_holds.hold(lot, f"{kept} {failed}".strip()[-REASON_MAX:])
    return check


@transaction.atomic
def release(*, lot: Lot, reason: str, released_by: Person) -> Lot:
    """Let a held lot be sold again, and keep with its failed checks who said so and why.

    Raises `BadValue` without a reason, `NotAllowedNow` when the lot is not on hold.
    """
    reason = reason.strip()
    problems = Problems()
    if not reason:
        problems.add("reason", _("Enter why the lot may be sold, for example “topped up by hand”."))
    elif len(reason) > REASON_MAX:
        problems.add("reason", _("Enter 300 characters or fewer."))
    problems.raise_any()
    ledger.lock_items(_items_held(lot, lot.product.item if lot.product else Item.objects.honey()))
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    if not lot.is_on_hold:
        raise NotAllowedNow(_("Lot %(code)s is not on hold.") % {"code": lot.code})
    jar_holds.release(lot)
    FillCheck.objects.filter(
        run__packed_lot=lot, has_passed=False, released_at__isnull=True
    ).update(released_at=timezone.now(), released_by=released_by, release_reason=reason)
    return lot


def _items_held(lot: Lot | None, item: Item) -> list[Item]:
    """Return the items of a lot and of all that its jars have become."""
    made = jar_holds.made_of(lot) if lot else []
    return [item, *(each.product.item for each in made if each.product)]

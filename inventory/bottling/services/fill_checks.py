"""Fill checks after a run: a failed one holds the packed lot from sale until it is released."""

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, FillCheck, FillWeight
from inventory.bottling.rules import fill_checks as rules
from inventory.bottling.services import holds
from inventory.shared import checks
from inventory.shared.errors import NotAllowedNow
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import ledger


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
        BottlingRun.objects.select_for_update(of=("self",))
        .select_related("product__item", "product__size")
        .get(pk=run.pk)
    )
    # A sale of the lot locks its item too, so none slips through while the lot goes on hold.
    ledger.lock_items(holds.items_held(run.packed_lot) if run.packed_lot else [run.product.item])
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
        holds.hold_for_check(lot=lot, reason=failed, held_by=checked_by)
    return check

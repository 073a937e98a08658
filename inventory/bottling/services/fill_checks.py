"""Fill checks after a run: a failed one holds the packed lot from sale until it is released."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling import filling
from inventory.bottling.models import BottlingRun, ContainerSize, FillCheck, FillWeight
from inventory.physics import fill_check
from inventory.shared import checks, words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.stock.models import Lot
from inventory.stock.services import ledger

WEIGHTS_MAX = 1_000
# A jar outside these shares of its label weight is a slip of the finger or of the unit.
NET_SHARE_LIKELY = (0.5, 2)
# An average outside these may be gross weights taken for net, or net for gross: ask first.
AVERAGE_SHARE_LIKELY = (Decimal("0.95"), Decimal("1.05"))
REASON_MAX = 300


@transaction.atomic
def record(
    *,
    run: BottlingRun,
    scheme: str,
    weights_milligrams: Sequence[int],
    checked_by: Any,
    key: str,
    tare_milligrams: int = 0,
    weights_are_right: bool = False,
) -> FillCheck:
    """Judge a recorded run by net weights, and keep the verdict with the weights.

    `weights_milligrams` are net; `tare_milligrams` says what was taken off each gross weight;
    `weights_are_right` confirms an average far from the label. When the check fails the packed
    lot is on hold. Raises `BadValue` for weights that cannot be or are too few, `NotAllowedNow`
    for a run that is not recorded, `AlreadyRecorded`.
    """
    run = BottlingRun.objects.select_for_update().select_related("container__item").get(pk=run.pk)
    # A sale of the lot locks its item too, so none slips through while the lot goes on hold.
    ledger.lock_items([run.container.item])
    if made := FillCheck.objects.filter(idempotency_key=key).first():
        raise AlreadyRecorded(_("This check was recorded already."), made=made)
    if run.status != BottlingRun.Status.RECORDED:
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s: only the jars of a recorded run can be checked.")
            % {"number": run.number, "status": run.get_status_display()}
        )
    check_weights(run, scheme, weights_milligrams)
    if not weights_are_right:
        _check_average(run.container, weights_milligrams, tare_milligrams)
    verdict = judge(run, scheme=scheme, weights_milligrams=weights_milligrams)
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
        lot = run.packed_lot
        lot.is_on_hold = True
        lot.hold_reason = _("Fill check of %(day)s failed.") % {
            "day": timezone.localdate(check.checked_at).isoformat()
        }
        lot.save(update_fields=["is_on_hold", "hold_reason"])
    return check


@transaction.atomic
def release(*, lot: Lot, reason: str, released_by: Any) -> Lot:
    """Let a held lot be sold again, and keep with its failed checks who said so and why.

    Raises `BadValue` without a reason, `NotAllowedNow` when the lot is not on hold.
    """
    reason = reason.strip()
    problems = Problems()
    if not reason:
        problems.add("reason", _("Say why the lot may be sold, for example “topped up by hand”."))
    elif len(reason) > REASON_MAX:
        problems.add("reason", _("Say it in 300 letters or fewer."))
    problems.raise_any()
    ledger.lock_items([lot.container.item])
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    if not lot.is_on_hold:
        raise NotAllowedNow(_("Lot %(code)s is not on hold.") % {"code": lot.code})
    lot.is_on_hold = False
    lot.hold_reason = ""
    lot.save(update_fields=["is_on_hold", "hold_reason"])
    FillCheck.objects.filter(
        run__packed_lot=lot, has_passed=False, released_at__isnull=True
    ).update(released_at=timezone.now(), released_by=released_by, release_reason=reason)
    return lot


def judge(
    run: BottlingRun, *, scheme: str, weights_milligrams: Sequence[int]
) -> fill_check.FillCheck:
    """Return what the net weights say about a run, without keeping it. Raises `BadValue`."""
    container = run.container
    is_in_pounds = container.declared_unit in (ContainerSize.Unit.POUND, ContainerSize.Unit.OUNCE)
    try:
        return fill_check.check_fill(
            float(container.declared_grams),
            [milligrams / 1000 for milligrams in weights_milligrams],
            run.pieces_filled,
            scheme,
            label_unit="lb" if is_in_pounds else "g",
        )
    except ValueError as error:
        raise BadValue(str(error), field="weights") from error


def check_weights(run: BottlingRun, scheme: str, weights_milligrams: Sequence[int]) -> None:
    """Refuse a sample that the run cannot give, and name each weight that no piece can have.

    Too few pieces are refused, not failed: more of them are weighed before anybody is stopped.
    """
    weighed, container = len(weights_milligrams), run.container
    if weighed > WEIGHTS_MAX:
        raise BadValue(_("Weigh 1,000 pieces at most."), field="weights")
    if weighed > run.pieces_filled:
        raise BadValue(
            _("%(weighed)s were weighed, but the lot has only %(filled)s.")
            % {"weighed": words.pieces(weighed), "filled": run.pieces_filled},
            field="weights",
        )
    wanted = fill_check.sample_size_wanted(run.pieces_filled, scheme)
    if weighed < wanted:
        raise BadValue(
            _("This rule weighs at least %(wanted)s of this run. Weigh %(more)s more.")
            % {"wanted": words.pieces(wanted), "more": wanted - weighed},
            field="weights",
        )
    label_milligrams = float(container.declared_grams) * 1000
    low, high = (share * label_milligrams for share in NET_SHARE_LIKELY)
    problems = Problems()
    for number, milligrams in enumerate(weights_milligrams, start=1):
        if not low <= milligrams <= high:
            problems.add(
                "weights",
                _(
                    "Entry %(number)s comes to %(net)s net, far from the label's %(label)s. "
                    "Check the figure, its unit and the tare."
                )
                % {
                    "number": number,
                    "net": filling.small_weight(Decimal(milligrams) / 1000),
                    "label": filling.declared(container),
                },
            )
    problems.raise_any()


def _check_average(
    container: ContainerSize, weights_milligrams: Sequence[int], tare_milligrams: int
) -> None:
    """Ask before judging an average that gross and net taken for each other would explain."""
    average = Decimal(sum(weights_milligrams)) / 1000 / len(weights_milligrams)
    low, high = AVERAGE_SHARE_LIKELY
    if low <= average / container.declared_grams <= high:
        return
    told = {"net": filling.small_weight(average), "label": filling.declared(container)}
    if tare_milligrams:
        sentence = _(
            "With the empty weight taken off, the pieces average %(net)s; the label says "
            "%(label)s. Are these gross weights, and is the empty weight right? "
            "If so, tick the box and send again."
        )
    else:
        sentence = _(
            "The pieces average %(net)s; the label says %(label)s. Are these net weights, "
            "without jar and lid? If so, tick the box and send again."
        )
    raise BadValue(sentence % told, field="weights_are_right")

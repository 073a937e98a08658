"""Fill checks: before a run they set the nozzle, after it they judge the lot by a full sample.

A failed check holds the packed lot from sale until it is released.
"""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, FillCheck, FillWeight
from inventory.bottling.rules import fill_checks as rules
from inventory.bottling.services import holds
from inventory.shared import checks, days
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Lot
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
    checked_on: date | None = None,
    continues: FillCheck | None = None,
) -> FillCheck:
    """Keep the net weights of some pieces of a run, with a verdict where they are a full sample.

    `weights_milligrams` are net; `tare_milligrams` says what was taken off each gross weight;
    `weights_are_right` confirms an average far from the label. Without `checked_on` they were
    weighed now. Pieces of a run that is still planned set the nozzle and have no verdict, nor has
    a sample smaller than the rule weighs; `continues` is such a sample of the recorded run, to
    which these weights are added. When the check fails the packed lot is on hold, and what its
    jars have become. Raises `BadValue` for weights or a day that cannot be, `NotAllowedNow` for a
    run that is undone or dropped and for a check that can't be continued, `AlreadyRecorded`.
    """
    run = (
        BottlingRun.objects.select_for_update(of=("self",))
        .select_related("product__item", "product__size")
        .get(pk=run.pk)
    )
    # A sale of the lot locks its item too, so none slips through while the lot goes on hold.
    ledger.lock_items(holds.items_held(run.packed_lot) if run.packed_lot else [run.product.item])
    refuse_repeat(FillCheck, key, message=_("This check was recorded already."))
    if run.status not in (BottlingRun.Status.PLANNED, BottlingRun.Status.RECORDED):
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s, so its jars can't be checked.")
            % {"number": run.number, "status": run.get_status_display()}
        )
    lot = run.packed_lot
    lot_pieces = run.pieces_filled if lot else None
    _check_day(checked_on, lot)
    earlier = _weights_before(run, continues)
    rules.check_weights(
        run.size,
        lot_pieces=lot_pieces,
        weights_milligrams=weights_milligrams,
        earlier=earlier,
        moisture_percent=run.lot.moisture_percent if run.lot else None,
    )
    weights = [*earlier, *weights_milligrams]
    if not weights_are_right:
        rules.check_average(run.size, weights, tare_milligrams)
    verdict = rules.judge(
        run.size, lot_pieces=lot_pieces, scheme=scheme, weights_milligrams=weights
    )
    check = FillCheck(
        run=run,
        scheme=scheme,
        tare_milligrams=tare_milligrams,
        checked_at=days.moment(checked_on),
        checked_by=checked_by,
        lot_pieces=lot_pieces,
        continues=continues,
        has_passed=verdict.passed if verdict else None,
        reason=verdict.reason if verdict else "No verdict: information only.",
        idempotency_key=key,
    )
    checks.save_checked(check)
    FillWeight.objects.bulk_create(
        FillWeight(check_made=check, net_milligrams=milligrams) for milligrams in weights
    )
    if lot and check.has_passed is False:
        failed = _("Fill check of %(day)s failed.") % {
            "day": timezone.localdate(check.checked_at).isoformat()
        }
        holds.hold_for_check(lot=lot, reason=failed, held_by=checked_by)
    return check


def _check_day(checked_on: date | None, lot: Lot | None) -> None:
    problems = Problems()
    checks.check_day(problems, "checked_on", checked_on)
    problems.raise_any()
    if checked_on and lot and checked_on < lot.made_on:
        raise BadValue(
            _("These pieces were filled on %(day)s. Enter that day or a later one.")
            % {"day": date_format(lot.made_on)},
            parameter="checked_on",
        )


def _weights_before(run: BottlingRun, continues: FillCheck | None) -> list[int]:
    """Return the weights of the sample that is weighed on, in their order."""
    if continues is None:
        return []
    is_open = FillCheck.objects.open_samples(run).filter(pk=continues.pk).exists()
    if not is_open:
        raise NotAllowedNow(
            _("That check can't be added to. Record these weights as a check of their own."),
            parameter="continues",
        )
    return list(continues.weights.values_list("net_milligrams", flat=True))

"""Put many lots on hold in one act, and release them again: packed lots and bulk honey alike."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import FillCheck
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.stock.models import Item, Lot
from inventory.stock.services import ledger

REASON_MAX = 300


@dataclass(frozen=True)
class LotsChanged:
    """The lots that an act put on hold or released, and those it left as they were."""

    changed: list[Lot]
    left: list[Lot]


@transaction.atomic
def hold(*, lots: Iterable[Lot], reason: str) -> LotsChanged:
    """Put these lots and every lot they went into on hold; those on hold keep their reason.

    Raises `BadValue` without lots or a reason, `NotAllowedNow` when all are on hold already.
    """
    lots = list(lots)
    _check(lots, reason, _("Enter why they go on hold."))
    family = _locked_family(lots)
    held = [lot for lot in family if lot.is_on_hold]
    free = [lot for lot in family if not lot.is_on_hold]
    if not free:
        raise NotAllowedNow(_("All these lots are on hold already."))
    for lot in free:
        lot.is_on_hold, lot.hold_reason = True, reason.strip()
    Lot.objects.bulk_update(free, ["is_on_hold", "hold_reason"], batch_size=500)
    return LotsChanged(free, held)


@transaction.atomic
def release(*, lots: Iterable[Lot], reason: str) -> LotsChanged:
    """Release these lots and every lot they went into, but for those with a reason of their own.

    A lot with a failed fill check stays on hold, and one made from another lot that stays on hold,
    perhaps because of another recall. Each of them can be released from its own page.
    Raises `BadValue` without lots or a reason, `NotAllowedNow` when none can be released.
    """
    lots = list(lots)
    _check(lots, reason, _("Enter why they may be sold."))
    family = _locked_family(lots)
    held = [lot for lot in family if lot.is_on_hold]
    failed = set(
        FillCheck.objects.filter(
            run__packed_lot__in=Lot.objects.family_keys(lot.pk for lot in lots),
            has_passed=False,
            released_at__isnull=True,
        ).values_list("run__packed_lot", flat=True)
    )
    may_go = {lot.pk for lot in held} - failed
    others = Lot.objects.filter(is_on_hold=True).exclude(pk__in=may_go)
    kept = set(
        Lot.objects.filter(
            pk__in=Lot.objects.family_keys(others.values_list("pk", flat=True)), is_on_hold=True
        ).values_list("pk", flat=True)
    )
    freed = [lot for lot in held if lot.pk not in kept]
    if not freed:
        raise NotAllowedNow(
            _(
                "None of these lots can be released here: a fill check failed, or honey in "
                "them is still on hold. Release each from its own page."
            )
            if held
            else _("None of these lots is on hold.")
        )
    for lot in freed:
        lot.is_on_hold, lot.hold_reason = False, ""
    Lot.objects.bulk_update(freed, ["is_on_hold", "hold_reason"], batch_size=500)
    return LotsChanged(freed, [lot for lot in held if lot.pk in kept])


def _check(lots: list[Lot], reason: str, missing: str) -> None:
    problems = Problems()
    if not lots:
        problems.add("lots", _("Choose the lots."))
    if not reason.strip():
        problems.add("reason", missing)
    elif len(reason.strip()) > REASON_MAX:
        problems.add("reason", _("Enter 300 characters or fewer."))
    problems.raise_any()


def _locked_family(lots: list[Lot]) -> list[Lot]:
    """Return the lots and all they went into, once nobody can sell, bottle or mix them.

    A sale, a run and a blend lock the items of what they take, honey among them.
    """
    roots = [lot.pk for lot in lots]
    # All of them, since a run that is recorded just now may make a lot of any size.
    ledger.lock_items([Item.objects.honey(), *Item.objects.filter(product__isnull=False)])
    family = Lot.objects.filter(pk__in=Lot.objects.family_keys(roots))
    return list(family.select_for_update(no_key=True).order_by("pk"))

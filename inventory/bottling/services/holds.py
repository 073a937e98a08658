"""Lots put on hold and released: the only door, for fill checks, recalls and people alike.

Each reason is a row of its own. `Lot.is_on_hold` and `Lot.hold_reason` are what the open ones add
up to.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import FillCheck
from inventory.bottling.services import jar_holds
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.stock.models import Item, Lot, LotHold
from inventory.stock.services import held, ledger

REASON_MAX = held.REASON_MAX


@dataclass(frozen=True)
class LotsChanged:
    """The lots whose holds an act opened or released, and those it left on hold as they were.

    After a release, a lot may be in both: one hold of it is released, another is still open.
    """

    changed: list[Lot]
    left: list[Lot]

    @property
    def freed(self) -> list[Lot]:
        return [lot for lot in self.changed if not lot.is_on_hold]


@transaction.atomic
def hold(*, lots: Iterable[Lot], reason: str, held_by: Person) -> LotsChanged:
    """Put these lots and every lot they went into on hold because of a recall.

    A lot that is on hold for something else is so for this, too. Raises `BadValue` without lots or
    a reason, `NotAllowedNow` when a recall of the same lots holds all of them already.
    """
    lots = list(lots)
    _check(lots, reason, _("Enter why they go on hold."))
    family = _locked_family(lots)
    asked = LotHold.asked_keys(lot.pk for lot in lots)
    on_hold = set(_open_of_recall(asked).values_list("lot", flat=True))
    free = [lot for lot in family if lot.pk not in on_hold]
    if not free:
        raise NotAllowedNow(_("All these lots are on hold already."))
    now = timezone.now()
    LotHold.objects.bulk_create(
        (
            LotHold(
                lot=lot,
                cause=LotHold.Cause.RECALL,
                asked_lots=asked,
                reason=reason.strip(),
                held_at=now,
                held_by=held_by,
            )
            for lot in free
        ),
        batch_size=500,
    )
    held.add_up(free)
    return LotsChanged(free, [lot for lot in family if lot.pk in on_hold])


@transaction.atomic
def hold_for_check(*, lot: Lot, reason: str, held_by: Person) -> None:
    """Put the lot of a failed fill check on hold, and what its jars have become.

    The caller has locked their items.
    """
    hold = LotHold.objects.create(
        lot=lot, cause=LotHold.Cause.FILL_CHECK, reason=reason[:REASON_MAX], held_by=held_by
    )
    made = LotHold.objects.bulk_create(jar_holds.inherited(hold))
    held.add_up([lot, *(each.lot for each in made)])


@transaction.atomic
def release(*, lots: Iterable[Lot], reason: str, released_by: Person) -> LotsChanged:
    """Release the holds that a recall of just these lots placed, and no others.

    A lot with another open hold stays on hold. Raises `BadValue` without lots or a reason,
    `NotAllowedNow` when this recall holds none of them.
    """
    lots = list(lots)
    _check(lots, reason, _("Enter why they may be sold."))
    family = _locked_family(lots)
    holds = list(_open_of_recall(LotHold.asked_keys(lot.pk for lot in lots)))
    if not holds:
        raise NotAllowedNow(
            _(
                "A recall of these lots holds none of them. What is on hold has another reason: "
                "release each lot from its own page."
            )
            if any(lot.is_on_hold for lot in family)
            else _("None of these lots is on hold.")
        )
    released = {hold.lot_id for hold in holds}
    _close(holds, reason, released_by, timezone.now())
    changed = [lot for lot in family if lot.pk in released]
    held.add_up(changed)
    return LotsChanged(changed, [lot for lot in family if lot.is_on_hold])


@transaction.atomic
def release_lot(
    *, lot: Lot, reason: str, released_by: Person, of_holds: Sequence[LotHold] | None = None
) -> Lot:
    """Release one lot of all that holds it, or of these holds alone, and what was held with it.

    A failed fill check that is released keeps who said so and why. Raises `BadValue` without a
    reason, `NotAllowedNow` when the lot is not on hold.
    """
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Enter why the lot may be sold, for example “topped up by hand”."))
    elif len(reason.strip()) > REASON_MAX:
        problems.add("reason", _("Enter 300 characters or fewer."))
    if of_holds is not None and not of_holds:
        problems.add("of_holds", _("Choose what is to be released."))
    problems.raise_any()
    ledger.lock_items(items_held(lot))
    lot = Lot.objects.select_for_update(of=("self",)).get(pk=lot.pk)
    if not lot.is_on_hold:
        raise NotAllowedNow(_("Lot %(code)s is not on hold.") % {"code": lot.code})
    holds = list(lot.holds.filter(released_at=None))
    if of_holds is not None:
        chosen = {hold.pk for hold in of_holds}
        holds = [hold for hold in holds if hold.pk in chosen]
    followed = LotHold.objects.filter(because_of__in=holds, released_at=None)
    holds += followed.select_related("lot")
    now = timezone.now()
    _close(holds, reason, released_by, now)
    others = {each.lot_id: each.lot for each in holds if each.lot_id != lot.pk}
    held.add_up([lot, *others.values()])
    if not lot.holds.filter(released_at=None, cause=LotHold.Cause.FILL_CHECK).exists():
        FillCheck.objects.filter(
            run__packed_lot=lot, has_passed=False, released_at__isnull=True
        ).update(released_at=now, released_by=released_by, release_reason=reason.strip())
    return lot


def items_held(lot: Lot) -> list[Item]:
    """Return the items to lock: of a lot, and of all that its jars have become."""
    made = jar_holds.made_of(lot)
    own = lot.product.item if lot.product else Item.objects.honey()
    return [own, *(each.product.item for each in made if each.product)]


def _open_of_recall(asked: str) -> QuerySet[LotHold]:
    return LotHold.objects.filter(
        cause=LotHold.Cause.RECALL, asked_lots=asked, released_at__isnull=True
    )


def _close(holds: list[LotHold], reason: str, person: Person, now: datetime) -> None:
    for each in holds:
        each.released_at, each.released_by, each.release_reason = now, person, reason.strip()
    LotHold.objects.bulk_update(
        holds, ["released_at", "released_by", "release_reason"], batch_size=500
    )


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

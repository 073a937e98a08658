"""Creamed honey that sets: said to be ready before its day."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import Creaming
from inventory.shared.errors import NotAllowedNow
from inventory.shared.people import Person
from inventory.stock.models import Lot
from inventory.stock.services import ledger


@transaction.atomic
def ready_now(*, lot: Lot, said_by: Person) -> Lot:
    """Let jars of creamed honey be sold from today on, and keep with their run who said so.

    Raises `NotAllowedNow` when the lot is ready already.
    """
    if lot.product:
        ledger.lock_items([lot.product.item])
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    if not lot.is_setting:
        raise NotAllowedNow(_("Lot %(code)s is ready already.") % {"code": lot.code})
    lot.ready_on = timezone.localdate()
    lot.save(update_fields=["ready_on"])
    Creaming.objects.filter(run__packed_lot=lot).update(
        hastened_by=said_by, hastened_at=timezone.now()
    )
    return lot

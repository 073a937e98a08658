"""What was taken although the books had none of it, and how it is settled.

A receipt entered late and a correction settle it by themselves (`retelling`); a count of the place
does, and a person who knows what happened.
"""

from datetime import datetime

from django.db import models, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.shared import keys
from inventory.shared.errors import NotAllowedNow, NotEnoughStock, Problems
from inventory.shared.people import Person
from inventory.stock.models import Item, Lot, Place, Posting, PostingLine, Shortage
from inventory.stock.services import ledger, lot_corrections


class How(models.TextChoices):
    """What a person knows of a shortage."""

    COUNT_DIFFERENCE = (
        "count_difference",
        gettext_lazy("the books were wrong: a difference of count"),
    )
    FROM_STOCK = "from_stock", gettext_lazy("it came from what is there now")


@transaction.atomic
def settle(
    *, shortage: Shortage, how: str, settled_by: Person, key: str, note: str = ""
) -> Posting:
    """Settle a shortage by what a person knows; return the posting.

    As a difference of count, or taken from what the same place has of the same lot now. Raises
    `NotAllowedNow` where it is settled already, `BadValue`, `NotEnoughStock`, `AlreadyRecorded`.
    """
    problems = Problems()
    if how not in How.values:
        problems.add("how", _("Choose one from the list."))
    problems.raise_any()
    ledger.lock_items([shortage.item])
    ledger.refuse_repeat(key)
    shortage = Shortage.objects.select_related("item", "lot", "place").get(pk=shortage.pk)
    if shortage.settled_by_id is not None:
        raise NotAllowedNow(_("This shortage is settled already."))
    source = Place.objects.outside(Place.Kind.COUNT_DIFFERENCE)
    if how == How.FROM_STOCK:
        if shortage.place is None:
            raise NotAllowedNow(_("Nobody knows at which place it was. Settle it as a count."))
        source = shortage.place
    try:
        posting = ledger.post(
            kind=Posting.Kind.SETTLEMENT,
            lines=ledger.move(
                item=shortage.item,
                lot=shortage.lot,
                source=source,
                target=Place.objects.outside(Place.Kind.TO_SETTLE),
                quantity=shortage.quantity,
            ),
            recorded_by=settled_by,
            key=key,
            note=note,
        )
    except NotEnoughStock as error:
        error.parameter = "how"
        raise
    shortage.settled_by = posting
    shortage.save(update_fields=["settled_by"])
    return posting


def settle_counted(
    *,
    item: Item,
    place: Place,
    lot: Lot | None,
    settled_by: Person,
    key: str,
    occurred_at: datetime | None,
) -> None:
    """Let a count of a place settle what was short there before: the rest is known by now.

    Call it in the transaction of the count. For honey in a vessel the lot does not matter: a count
    of the vessel says how much is in it.
    """
    found = Shortage.objects.open().filter(item=item, place=place)
    if item.kind != Item.Kind.HONEY:
        found = found.filter(lot=lot)
    if occurred_at is not None:
        found = found.filter(posting__occurred_at__lte=occurred_at)
    for row in found.select_related("item", "lot").order_by("id"):
        row.settled_by = ledger.post(
            kind=Posting.Kind.SETTLEMENT,
            lines=ledger.move(
                item=row.item,
                lot=row.lot,
                source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
                target=Place.objects.outside(Place.Kind.TO_SETTLE),
                quantity=row.quantity,
            ),
            recorded_by=settled_by,
            key=keys.part(key, f"settled-{row.pk}"),
            note=_("Counted afterwards"),
            occurred_at=occurred_at,
        )
        row.save(update_fields=["settled_by"])


@transaction.atomic
def name_lot(
    *, shortage: Shortage, lot: Lot, named_by: Person, key: str, note: str = ""
) -> Posting:
    """Say of which lot unknown honey was; the jars filled with it are of that lot then.

    It is still short, until that is settled too. Raises `NotAllowedNow` where the lot is known, or
    where the unknown honey went into another vessel: then the receipt has to be entered.
    """
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    shortage = Shortage.objects.select_related("item", "lot", "posting").get(pk=shortage.pk)
    unknown = shortage.lot
    if unknown is None or unknown.kind != Lot.Kind.UNKNOWN:
        raise NotAllowedNow(_("The lot is known already."))
    lines = PostingLine.objects.filter(lot=unknown)
    is_elsewhere = lines.exclude(posting=shortage.posting).exists()
    if is_elsewhere or lines.filter(place__kind__in=Place.VESSELS).exists():
        raise NotAllowedNow(
            _(
                "This honey went into another vessel. Enter the honey that came in, with its day: "
                "then its lot is known by itself."
            )
        )
    jars = {
        link.lot_id: (lot_corrections.figures(link.lot), link.grams)
        for link in unknown.child_links.select_related("lot")
    }
    named = [
        ledger.Line(line.item, line.place, lot if line.lot == unknown else line.lot, line.quantity)
        for line in ledger.effective_lines(shortage.posting)
    ]
    correction = ledger.rename(
        posting=shortage.posting, lines=named, recorded_by=named_by, key=key, note=note
    )
    for made, (_figures, grams) in jars.items():
        lot_corrections.change_parents(made, {unknown.pk: -grams, lot.pk: grams})
    shortage.lot = lot
    shortage.save(update_fields=["lot"])
    lot_corrections.work_out_again(
        {made: figures for made, (figures, _grams) in jars.items()},
        posting=correction,
        person=named_by,
        reason=note,
    )
    return correction

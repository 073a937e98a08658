"""What acts took although the books had none of it, as far as it is settled or not.

A shortage whose entry was undone is no longer one. Every function asks the database one question.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from inventory.stock import own_places
from inventory.stock.models import Item, Lot, Place, Posting, Shortage
from inventory.stock.models.corrections import ShortageQuerySet
from inventory.stock.models.lots import LotKeys


@dataclass(frozen=True)
class ShortageRow:
    """So much of something that an act took although the books had none of it.

    `quantity` is in grams or pieces, `much` says it in words. `lot` is the code of the lot that
    was named, empty where it is unknown; `lot_code`, `lot_key` and `lot_what` are also those of a
    lot that stands for unknown honey. `place` is where the books were short, empty for parts of any
    shelf. `settled_by` is the number of the entry that settled it, None while it is open. `thing`
    is what the form of a count calls the lot or part.
    """

    key: int
    kind: str
    item_key: int
    what: str
    quantity: int
    much: str
    is_weighed: bool
    lot: str
    lot_key: int | None
    lot_code: str
    lot_what: str
    thing: str
    place: str
    place_key: int | None
    place_code: str
    is_vessel: bool
    is_at_stand: bool
    posting: int
    act: str
    day: date
    entered_on: date
    who: str
    settled_by: int | None
    settled_act: str
    settled_on: date | None

    @property
    def is_lot_unknown(self) -> bool:
        """Whether nobody knows of which lot it was; parts have none."""
        return not self.lot and self.kind != Item.Kind.PART


def to_settle() -> QuerySet[Shortage]:
    """Return what is still to be settled, the oldest day first; `rows` tells them."""
    return _known().open().order_by("posting__occurred_at", "id")


def open_rows() -> list[ShortageRow]:
    """Return what is still to be settled, the oldest day first."""
    return rows(to_settle())


def settled() -> QuerySet[Shortage]:
    """Return what was settled, the latest first; `rows` tells them.

    What a correction of the entry itself has found was never short.
    """
    found = _known().standing().exclude(settled_by=None)
    return found.order_by("-settled_by__occurred_at", "-id")


def rows(shortages: Iterable[Shortage]) -> list[ShortageRow]:
    """Tell shortages whose entry, item, lot and place are fetched along."""
    return [_row(shortage) for shortage in shortages]


def of_lot(lot: Lot) -> list[ShortageRow]:
    """Return what is to be settled of one lot."""
    return rows(to_settle().filter(lot=lot))


def of_posting(posting: int) -> list[ShortageRow]:
    """Return what an entry was short of, and is not settled."""
    return rows(to_settle().filter(posting=posting))


def of_recall(family: LotKeys) -> list[ShortageRow]:
    """Return what is to be settled of these lots, and then all of unknown lots.

    What nobody knows the lot of may be of any of them.
    """
    unknown = Q(lot=None) | Q(lot__kind=Lot.Kind.UNKNOWN)
    found = rows(to_settle().exclude(item__kind=Item.Kind.PART).filter(Q(lot__in=family) | unknown))
    return sorted(found, key=lambda row: row.is_lot_unknown)


def _known() -> ShortageQuerySet:
    known: ShortageQuerySet = Shortage.objects.all()
    # Joined, all entries would be gone through where there are few shortages.
    undone = Posting.objects.filter(reverses=OuterRef("posting"))
    return known.exclude(Exists(undone)).select_related(
        "posting__recorded_by", "item", "lot__product", "place", "settled_by"
    )


def _name(item: Item) -> str:
    return str(item.get_kind_display()) if item.kind == Item.Kind.HONEY else item.name


def _row(shortage: Shortage) -> ShortageRow:
    posting, lot, place, settled = (
        shortage.posting,
        shortage.lot,
        shortage.place,
        shortage.settled_by,
    )
    is_named = lot is not None and lot.kind != Lot.Kind.UNKNOWN
    return ShortageRow(
        key=shortage.pk,
        kind=shortage.item.kind,
        item_key=shortage.item_id,
        what=_name(shortage.item),
        quantity=shortage.quantity,
        much=shortage.item.in_words(shortage.quantity, 1),
        is_weighed=shortage.item.is_weighed,
        lot=lot.code if lot and is_named else "",
        lot_key=lot.pk if lot else None,
        lot_code=lot.code if lot else "",
        lot_what=lot.what if lot else "",
        thing=f"lot-{lot.pk}" if lot else f"item-{shortage.item_id}",
        place=place.name if place else "",
        place_key=place.pk if place else None,
        place_code=place.code if place else "",
        is_vessel=place.kind in Place.VESSELS if place else False,
        is_at_stand=place.kind in own_places.KINDS if place else False,
        posting=posting.pk,
        act=str(posting.get_kind_display()),
        day=timezone.localdate(posting.occurred_at),
        entered_on=timezone.localdate(posting.recorded_at),
        who=posting.recorded_by.display_name,
        settled_by=settled.pk if settled else None,
        settled_act=str(settled.get_kind_display()) if settled else "",
        settled_on=timezone.localdate(settled.occurred_at) if settled else None,
    )

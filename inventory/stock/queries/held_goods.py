"""Goods in pieces, and full drums, that stand somewhere and may not be sold."""

from dataclasses import dataclass

from inventory.stock import rules
from inventory.stock.models import Balance, Item, Place


@dataclass(frozen=True)
class HeldGoods:
    """So much of a lot on hold at one place."""

    lot: str
    lot_id: int
    what: str
    product_id: int | None
    item: Item
    place: Place
    quantity: int
    reason: str

    @property
    def much(self) -> str:
        """The quantity in words: "60 pieces"."""
        return self.item.in_words(self.quantity)


def in_stores() -> list[HeldGoods]:
    """Return our goods on hold on every shelf, stand and van, in one query."""
    held = (
        Balance.objects.filter(
            is_physical=True,
            quantity__gt=0,
            lot__is_on_hold=True,
            lot__product__isnull=False,
        )
        .ours()
        .select_related("item", "place", "lot__product")
        .order_by("item__name", "lot_id", "place__kind", "place__code")
    )
    return [_row(balance) for balance in held]


def in_drums() -> list[HeldGoods]:
    """Return our full drums on hold, in one query."""
    held = (
        Balance.objects.filter(
            place__kind=Place.Kind.DRUM,
            place__is_active=True,
            is_physical=True,
            quantity__gt=0,
            lot__is_on_hold=True,
        )
        .ours()
        .select_related("item", "place", "lot__product")
        .order_by("place__code")
    )
    return [_row(balance) for balance in held]


def _row(balance: Balance) -> HeldGoods:
    lot = balance.honey_lot
    return HeldGoods(
        lot=lot.code,
        lot_id=lot.pk,
        what=lot.what,
        product_id=lot.product_id,
        item=balance.item,
        place=balance.place,
        quantity=balance.quantity,
        reason=rules.hold_reason(lot),
    )

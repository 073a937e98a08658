"""What counting all goods of a place at once has in common: of a box's shelf, or of a van."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.bottling.models import Product
from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.stock import rules
from inventory.stock.counting import CountChange
from inventory.stock.models import Balance, Item, Place, Posting
from inventory.stock.services import loads
from inventory.stock.services.loads import PiecesOfLot


@dataclass(frozen=True)
class Difference:
    """So many more pieces of a product than the books have at a place, or below zero fewer.

    `parameter` names the figure that was typed.
    """

    product: Product
    there: Sequence[PiecesOfLot]
    more: int
    parameter: str


def check_once(problems: Problems, parameter: str, product: Product, seen: set[int]) -> None:
    """Collect a product that is on the list a second time; `seen` has those before it."""
    if product.pk in seen:
        problems.add(
            parameter,
            _("%(product)s is on the list twice. Remove one.") % {"product": product.name},
        )
    seen.add(product.pk)


def check_counted(problems: Problems, parameter: str, pieces: int) -> None:
    """Collect a figure that nobody can have counted."""
    if not 0 <= pieces <= rules.PIECES_MAX:
        problems.add(parameter, _("Enter how many you counted, from 0 to a million."))


def left_out(place: Place, products: Iterable[Product]) -> list[str]:
    """Return the names of the goods in pieces at a place that are not among the counted ones."""
    there = Balance.objects.filter(
        place=place, quantity__gt=0, item__product__isnull=False, item__is_weighed=False
    ).ours()
    names = there.exclude(item__product__in=[product.pk for product in products])
    return list(names.order_by("item__name").values_list("item__name", flat=True).distinct())


def post(
    *,
    differences: Iterable[Difference],
    items: Sequence[Item],
    place: Place,
    reason: str,
    counted_by: Person,
    key: str,
    counted_at: datetime | None,
    surplus_reason: str,
) -> Posting | None:
    """Post what differs: more is added to the newest lot there, fewer is taken off the oldest ones.

    Call with the items locked. Raises `BadValue` for pieces of which no lot was ever there, and
    what `loads.count` raises.
    """
    changes: list[CountChange] = []
    problems = Problems()
    for each in differences:
        found = _changes_of(each, place)
        if found is None:
            problems.add(
                each.parameter,
                _("%(product)s: the books never had any at %(place)s. Carry them there first.")
                % {"product": each.product.name, "place": place.name},
            )
        else:
            changes += found
    problems.raise_any()
    return loads.count(
        changes=changes,
        items=items,
        place=place,
        reason=reason,
        recorded_by=counted_by,
        key=key,
        counted_at=counted_at,
        surplus_reason=surplus_reason,
    )


def _changes_of(each: Difference, place: Place) -> list[CountChange] | None:
    item = each.product.item
    if each.more < 0:
        return [
            CountChange(place, item, row.lot, -row.pieces)
            for row in loads.oldest(each.there, -each.more)
        ]
    if each.more == 0:
        return []
    lot = each.there[-1].lot if each.there else loads.last_lot(item, place)
    return None if lot is None else [CountChange(place, item, lot, each.more)]

"""Packaging parts that are used up, or washed and put back."""

from collections.abc import Iterable

from inventory.bottling.models import PackagingPart
from inventory.bottling.rules.parts import PartNeed
from inventory.stock.models import Place
from inventory.stock.services import ledger, stores


def lines(needs: Iterable[PartNeed]) -> list[ledger.Line]:
    """Return the lines that take these parts out of the stores; raises `NotEnoughStock`."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    places = list(Place.objects.filter(kind__in=Place.STORES))
    found = []
    for need in needs:
        if not need.needed:
            continue
        for balance, taken in stores.pick(item=need.part.item, places=places, pieces=need.needed):
            found += ledger.move(
                item=balance.item, lot=None, source=balance.place, target=packing, quantity=taken
            )
    return found


def lines_back(parts: Iterable[tuple[PackagingPart, int]], place: Place) -> list[ledger.Line]:
    """Return the lines that put so many of each part back at a place."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    return [
        line
        for part, count in parts
        if count
        for line in ledger.move(
            item=part.item, lot=None, source=packing, target=place, quantity=count
        )
    ]

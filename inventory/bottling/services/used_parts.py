"""Parts that filled or packed pieces use up: what is short, and the lines that take them."""

from collections.abc import Sequence
from datetime import datetime

from django.utils.translation import gettext as _

from inventory.bottling.models import PackagingPart
from inventory.bottling.rules.parts import PartNeed
from inventory.shared.errors import NotEnoughParts
from inventory.stock.models import Balance, Place
from inventory.stock.services import ledger, stores


def error_of(need: PartNeed, parameter: str) -> NotEnoughParts:
    """Return the refusal of a part that is short."""
    return NotEnoughParts(
        _(
            "Not enough parts: the run used %(needed)s of %(part)s. In the books: "
            "%(there)s. Missing: %(short)s. Receive the parts or correct the count first."
        )
        % {
            "needed": need.needed,
            "part": need.part.name,
            "there": need.there,
            "short": need.short,
        },
        parameter=parameter,
        short=need.short,
    )


def lines(needs: Sequence[PartNeed]) -> list[ledger.Line]:
    """Return the lines that take these parts from the stores, oldest first."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    places = list(Place.objects.filter(kind__in=Place.STORES))
    made = []
    for need in needs:
        if not need.needed:
            continue
        for balance, taken in stores.pick(item=need.part.item, places=places, pieces=need.needed):
            made += ledger.move(
                item=balance.item, lot=None, source=balance.place, target=packing, quantity=taken
            )
    return made


def lines_used(
    needs: Sequence[tuple[PackagingPart, int]], *, at: datetime | None, short_at: Place
) -> list[ledger.Line]:
    """Return the lines of parts that were used, now or at an earlier moment, there or not.

    What no store had is taken at `short_at`, where the ledger books it as short.
    """
    packing = Place.objects.outside(Place.Kind.PACKING)
    places = Place.objects.filter(kind__in=Place.STORES).order_by("kind", "code").in_bulk()
    made = []
    for part, wanted in needs:
        there = {
            row.place_id: row.quantity
            for row in Balance.objects.filter(item=part.item, place__in=places)
        }
        if at is not None:
            then = Balance.objects.at(part.item, at, places=places)
            there = {
                place: min(quantity, then.get((place, 0), 0)) for place, quantity in there.items()
            }
        for key, place in places.items():
            taken = min(wanted, max(there.get(key, 0), 0))
            made += ledger.move(
                item=part.item, lot=None, source=place, target=packing, quantity=taken
            )
            wanted -= taken
        made += ledger.move(
            item=part.item, lot=None, source=short_at, target=packing, quantity=wanted
        )
    return made

"""Parts that filled or packed pieces use up: what is short, and the lines that take them."""

from django.utils.translation import gettext as _

from inventory.bottling.rules.parts import PartNeed
from inventory.shared.errors import NotEnoughParts
from inventory.stock.models import Place
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


def lines(needs: list[PartNeed]) -> list[ledger.Line]:
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

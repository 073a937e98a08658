"""Pure decisions about stock that services, queries and forms share; none reads or writes rows."""

from collections.abc import Iterable
from datetime import date

from django.utils.translation import gettext as _

from inventory.shared import checks
from inventory.shared.errors import Problems
from inventory.shared.money import share_cents
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.models.lots import Origin

PIECES_MAX = 1_000_000

# A sale is undone from its order, where the money is corrected with it; a reversal is not undone.
UNDONE_ELSEWHERE = (Posting.Kind.SALE, Posting.Kind.RETURN, Posting.Kind.REVERSAL)
# These belong to another entry, which is corrected again where they are wrong.
FOLLOWS_ANOTHER = (Posting.Kind.CORRECTION, Posting.Kind.SETTLEMENT)
# Where honey comes from, by the kind of the posting that brings it.
CAME_FROM: dict[str, str] = {
    Posting.Kind.EXTRACTION: Place.Kind.HARVEST,
    Posting.Kind.PURCHASE: Place.Kind.SUPPLIER,
    Posting.Kind.OWNER_RECEIPT: Place.Kind.OWNER,
}


def can_undo(posting: Posting) -> bool:
    """Tell whether a posting may be undone from its own page.

    It was not undone yet, is no sale, and does not follow from another entry.
    """
    is_own = posting.kind not in (*UNDONE_ELSEWHERE, *FOLLOWS_ANOTHER)
    return is_own and not hasattr(posting, "reversed_by")


def hold_reason(lot: Lot) -> str:
    """Return why a lot is on hold, in words that end a sentence."""
    return lot.hold_reason or _("no reason was given")


def hold_sentence(lot: Lot) -> str:
    """Return why a lot is on hold, with the full stop that a next sentence needs."""
    reason = hold_reason(lot).strip()
    return reason if reason.endswith((".", "!", "?", "…")) else f"{reason}."


def has_own_origin(lot: Lot) -> bool:
    """Tell whether a lot came in as honey, and was not made here of other lots."""
    return lot.kind in (Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT, Lot.Kind.STORED)


def check_vessel(problems: Problems, parameter: str, place: Place) -> None:
    if not place.is_vessel:
        problems.add(
            parameter,
            _("%(place)s is not for bulk honey. Choose a tank, drum, pail or tote.")
            % {"place": place.name},
        )
    elif not place.is_active:
        problems.add(parameter, _("%(place)s is out of use.") % {"place": place.name})


def check_pieces(problems: Problems, parameter: str, pieces: int) -> None:
    if pieces < 1:
        problems.add(parameter, _("Enter one piece or more."))
    elif pieces > PIECES_MAX:
        problems.add(parameter, _("That is more than a million pieces. Check the figure."))


def check_quantity(problems: Problems, parameter: str, item: Item, quantity: int) -> None:
    """Check pieces, or grams of what is kept by weight."""
    if item.is_weighed:
        checks.check_grams(problems, parameter, quantity)
    else:
        check_pieces(problems, parameter, quantity)


def check_store(problems: Problems, parameter: str, place: Place) -> None:
    if place.kind not in Place.STORES:
        problems.add(
            parameter,
            _("%(place)s is not a shelf, stand or van. Choose another place.")
            % {"place": place.name},
        )
    elif not place.is_active:
        problems.add(parameter, _("%(place)s is out of use.") % {"place": place.name})


def cost_cents(parts: Iterable[tuple[Lot, int]]) -> int | None:
    """Return what so many grams of these lots cost; None while the cost of any is unknown."""
    parts = list(parts)
    costs = [
        share_cents(lot.cost_cents, grams, lot.quantity_made)
        for lot, grams in parts
        if lot.cost_cents is not None and lot.quantity_made > 0
    ]
    return sum(costs) if len(costs) == len(parts) else None


def came_in_on(origins: Iterable[Origin]) -> date:
    """Return the day the oldest honey in a lot was extracted or bought.

    The oldest: the tank may have taken in younger honey between a run and its writing down.
    """
    return min(origin.lot.made_on for origin in origins)

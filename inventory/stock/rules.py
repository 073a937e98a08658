"""Pure decisions about stock that services, queries and forms share; none reads or writes rows."""

from django.utils.translation import gettext as _

from inventory.shared.errors import Problems
from inventory.stock.models import Place, Posting

PIECES_MAX = 1_000_000

# A sale is undone from its order, where the money is corrected with it; a reversal is not undone.
UNDONE_ELSEWHERE = (Posting.Kind.SALE, Posting.Kind.RETURN, Posting.Kind.REVERSAL)


def can_undo(posting: Posting) -> bool:
    """Tell whether a posting may be undone from its own page: not undone yet, and no sale."""
    return posting.kind not in UNDONE_ELSEWHERE and not hasattr(posting, "reversed_by")


def check_vessel(problems: Problems, field: str, place: Place) -> None:
    if not place.is_vessel:
        problems.add(
            field,
            _("%(place)s holds no bulk honey. Choose a tank, drum, pail or tote.")
            % {"place": place.name},
        )
    elif not place.is_active:
        problems.add(field, _("%(place)s is out of use.") % {"place": place.name})


def check_pieces(problems: Problems, field: str, pieces: int) -> None:
    if pieces < 1:
        problems.add(field, _("Enter one piece or more."))
    elif pieces > PIECES_MAX:
        problems.add(field, _("That is more than a million pieces. Check the figure."))


def check_store(problems: Problems, field: str, place: Place) -> None:
    if place.kind not in Place.STORES:
        problems.add(field, _("%(place)s is no shelf, stand or van.") % {"place": place.name})
    elif not place.is_active:
        problems.add(field, _("%(place)s is out of use.") % {"place": place.name})

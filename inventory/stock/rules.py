"""Pure decisions about stock that services, queries and forms share; none reads or writes rows."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from inventory.physics import grading
from inventory.shared import checks, words
from inventory.shared.errors import Problems
from inventory.shared.money import share_cents
from inventory.stock.models import Item, Lot, Place, Posting
from inventory.stock.models.lots import Origin

PIECES_MAX = 1_000_000
NAMES_MAX = 120
# U.S. Grade A and B are up to this moisture.
GRADE_A_PERCENT = Decimal(str(grading.GRADE_MOISTURE_UP_TO[0]))
# What an empty drum can weigh, by its capacity (common practice). An open or closed drum of 55 US
# gallons (208 L) weighs 33 to 62 lb in steel of 0.9 to 1.5 mm, about 20 lb in plastic and up to
# 80 lb in stainless steel; drums of 15 to 30 gallons weigh 8 to 40 lb.
SMALL_DRUM_LITRES = Decimal(150)
SMALL_DRUM_TARE_GRAMS = (2_000, 25_000)
DRUM_TARE_GRAMS = (7_000, 40_000)
ANY_DRUM_TARE_GRAMS = (SMALL_DRUM_TARE_GRAMS[0], DRUM_TARE_GRAMS[1])

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


def is_above_limit(lot: Lot, limit_percent: Decimal) -> bool:
    """Tell whether a lot has more moisture than the house puts into jars."""
    return lot.moisture_percent is not None and lot.moisture_percent > limit_percent


def moisture_warning(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is above the house's own limit of moisture, else nothing."""
    if not is_above_limit(lot, limit_percent):
        return ""
    if limit_percent >= GRADE_A_PERCENT or lot.honey_moisture > GRADE_A_PERCENT:
        return lot.keeping_note
    return _(
        "Above your own limit of %(limit)s %% moisture: this honey may ferment. Dry it or blend it."
    ) % {"limit": words.number(limit_percent.normalize())}


def quiet_note(lot: Lot, limit_percent: Decimal) -> str:
    """Return how honey keeps that is not above the house's own limit, for its own page."""
    return "" if is_above_limit(lot, limit_percent) else lot.keeping_note


def above_limit_sentence(lot: Lot, place: Place, limit_percent: Decimal) -> str:
    """Ask whether honey above the house's limit of moisture is to be used all the same."""
    if not is_above_limit(lot, limit_percent):
        return ""
    return _(
        "Lot %(lot)s in %(place)s has %(moisture)s %% moisture, above your limit of %(limit)s %%, "
        "so it may ferment. Choose other honey, dry it or blend it, or tick that it is used all "
        "the same."
    ) % {
        "lot": lot.code,
        "place": place.name,
        "moisture": words.number(lot.honey_moisture.normalize()),
        "limit": words.number(limit_percent.normalize()),
    }


def check_tare(
    problems: Problems, parameter: str, tare_grams: int, capacity_litres: Decimal | None
) -> None:
    """Add that no drum of this capacity is so light or so heavy when it is empty."""
    low, high = tare_limits(capacity_litres)
    if low <= tare_grams <= high:
        return
    if capacity_litres is None:
        what = _("An empty drum")
    else:
        what = _("An empty drum of %(capacity)s") % {"capacity": words.volume(capacity_litres)}
    problems.add(
        parameter,
        _(
            "%(drum)s weighs from %(low)s to %(high)s; you entered %(typed)s. Check the figure "
            "and its unit, or weigh the empty drum again."
        )
        % {
            "drum": what,
            "low": words.weight(low, 0),
            "high": words.weight(high, 0),
            "typed": words.weight(tare_grams, 1),
        },
    )


def tare_limits(capacity_litres: Decimal | None) -> tuple[int, int]:
    """Return the least and the most that an empty drum of a capacity weighs, in grams."""
    if capacity_litres is None:
        return ANY_DRUM_TARE_GRAMS
    return SMALL_DRUM_TARE_GRAMS if capacity_litres < SMALL_DRUM_LITRES else DRUM_TARE_GRAMS


def names_by_share(shares: Iterable[tuple[str, Fraction]], *, least: Fraction) -> str:
    """Join names in the order of their shares, without those below `least`.

    "Clover, Basswood" counts for each of the two. The largest is named however small it is.
    """
    totals: dict[str, Fraction] = {}
    for names, share in shares:
        for name in dict.fromkeys(part.strip() for part in names.split(",") if part.strip()):
            totals[name] = totals.get(name, Fraction(0)) + share
    order = sorted(totals, key=lambda name: -totals[name])
    return in_room([name for name in order if totals[name] >= least] or order[:1])


def in_room(names: Sequence[str]) -> str:
    """Join names with commas, cut to what a lot has room for."""
    joined = ", ".join(names)
    return joined if len(joined) <= NAMES_MAX else joined[: NAMES_MAX - 3] + "..."


def season_by_share(origins: Iterable[Origin]) -> int:
    """Return the season of which most of the honey is; of two alike, the newer."""
    shares: dict[int, Fraction] = {}
    for origin in origins:
        known = shares.get(origin.lot.season, Fraction(0))
        shares[origin.lot.season] = known + origin.share
    return max(shares, key=lambda season: (shares[season], season))


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


def check_for_goods(problems: Problems, parameter: str, place: Place) -> None:
    """Check a place to which goods are carried or where they are counted, a shop's shelf too."""
    if place.kind != Place.Kind.CONSIGNMENT:
        check_store(problems, parameter, place)
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

"""Of which seasons the honey in each lot is, through every blend."""

from fractions import Fraction

from inventory.stock.models import Lot, LotParent
from inventory.stock.models.lots import parents_first

# The seasons in a lot with their exact shares, which come to one; the newest first.
Seasons = dict[int, Fraction]


def seasons_of_lots() -> dict[int, Seasons]:
    """Return the seasons of the honey in every lot, by key, in two queries.

    A lot that came in is of its own season; one that was made of others of theirs, by the grams
    that went into it, as `Lot.origins` shares it out.
    """
    seasons = dict(Lot.objects.order_by().values_list("pk", "season"))
    links: dict[int, list[tuple[int, int]]] = {}
    rows = LotParent.objects.filter(grams__gt=0).order_by("id")
    for lot, parent, grams in rows.values_list("lot", "parent", "grams"):
        links.setdefault(lot, []).append((parent, grams))
    parents = {lot: [parent for parent, _grams in links.get(lot, [])] for lot in seasons}
    found: dict[int, Seasons] = {}
    for lot in parents_first(parents):
        found[lot] = _mixed(found, links[lot]) if lot in links else {seasons[lot]: Fraction(1)}
    return found


def _mixed(found: dict[int, Seasons], links: list[tuple[int, int]]) -> Seasons:
    whole = sum(grams for _parent, grams in links)
    shares: Seasons = {}
    for parent, grams in links:
        for season, share in found[parent].items():
            shares[season] = shares.get(season, Fraction(0)) + share * Fraction(grams, whole)
    return dict(sorted(shares.items(), reverse=True))

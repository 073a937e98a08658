"""Which lots somebody means by what they typed: a code on a jar, a drum number, part of a code.

To find lots by something else too, add a function to `WAYS`.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db.models import Max, Q, QuerySet
from django.utils.translation import gettext as _

from inventory.stock.models import Balance, Lot, Place, PostingLine

MATCHES_MAX = 100


@dataclass(frozen=True)
class LotMatch:
    """A lot that fits what was typed; `is_meant` tells the one that is meant from a likely one."""

    lot: Lot
    why: str
    is_meant: bool


@dataclass(frozen=True)
class LotsFound:
    """The lots that fit what was typed, and whether there are more than can be listed."""

    typed: str
    matches: list[LotMatch]
    has_more: bool = False

    @property
    def meant(self) -> list[Lot]:
        return [match.lot for match in self.matches if match.is_meant]

    @property
    def is_certain(self) -> bool:
        """Tell whether nobody has to choose: all that was found is what was typed."""
        return bool(self.matches) and all(match.is_meant for match in self.matches)


def find_lots(typed: str) -> LotsFound:
    """Return the lots that fit: those that bear it, else those of that vessel, else part of a code.

    In three queries at most for each way.
    """
    typed = typed.strip()
    if not typed:
        return LotsFound(typed, [])
    for way in WAYS:
        # One lot may fit in several ways: the first one counts.
        matches = list({match.lot.pk: match for match in reversed(list(way(typed)))}.values())
        if matches:
            matches.reverse()
            return LotsFound(typed, matches[:MATCHES_MAX], len(matches) > MATCHES_MAX)
    return LotsFound(typed, [])


def _by_whole_code(typed: str) -> Iterable[LotMatch]:
    """Find every lot that bears the code, as it is printed or typed in small letters."""
    lots = _lots().filter(code__in={typed, typed.upper()})
    return [LotMatch(lot, _("lot code"), is_meant=True) for lot in lots[: MATCHES_MAX + 1]]


def _by_supplier_lot(typed: str) -> Iterable[LotMatch]:
    """Find what came in under a supplier's own lot code."""
    lots = _lots().filter(supplier_lot__iexact=typed).select_related("product", "supplier")
    return [
        LotMatch(lot, _("lot of %(supplier)s") % {"supplier": lot.supplier}, is_meant=True)
        for lot in lots[: MATCHES_MAX + 1]
    ]


def _by_vessel(typed: str) -> Iterable[LotMatch]:
    """Find what is in a drum, or was in it last, and after it what was in it before."""
    vessel = Place.objects.filter(
        Q(code__iexact=typed) | Q(name__iexact=typed), kind__in=Place.VESSELS
    ).first()
    if vessel is None:
        return []
    filled = dict(
        PostingLine.objects.filter(
            place=vessel,
            lot__isnull=False,
            quantity__gt=0,
            posting__reverses=None,
            posting__reversed_by=None,
        )
        .order_by()
        .values_list("lot")
        .annotate(last=Max("posting"))
        .order_by("-last")[: MATCHES_MAX + 1]
    )
    if not filled:
        return []
    there = Balance.objects.in_vessel(vessel)
    # An empty drum was perhaps sold: what was in it last is meant.
    meant = there.lot_id if there else next(iter(filled))
    lots = _lots().in_bulk(filled)
    figures = {"place": vessel.name}
    return [
        LotMatch(
            lots[key],
            _("in %(place)s now") % figures
            if there and key == there.lot_id
            else _("was in %(place)s") % figures,
            is_meant=key == meant,
        )
        for key in filled
    ]


def _by_part_of_code(typed: str) -> Iterable[LotMatch]:
    lots = _lots().filter(Q(code__icontains=typed) | Q(supplier_lot__icontains=typed))
    return [
        LotMatch(lot, _("part of the lot code"), is_meant=False) for lot in lots[: MATCHES_MAX + 1]
    ]


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("product").order_by("-made_on", "-id")


# The first way that finds a lot counts.
WAYS: tuple[Callable[[str], Iterable[LotMatch]], ...] = (
    _by_whole_code,
    _by_supplier_lot,
    _by_vessel,
    _by_part_of_code,
)

"""Which lots somebody means by what they typed: a code on a jar, a drum number, part of a code.

To find lots by something else too, add a function to `EXACT_WAYS` or `LIKELY_WAYS`.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from django.db.models import Max, Q, QuerySet
from django.utils.translation import gettext as _

from inventory.stock import typed_codes
from inventory.stock.models import Balance, Lot, Place, Posting, PostingLine
from inventory.stock.typed_codes import TypedCode

MATCHES_MAX = 100
TYPED_MAX = 80


@dataclass(frozen=True)
class LotMatch:
    """A lot that fits what was typed; `is_meant` tells the one that is meant from a likely one."""

    lot: Lot
    why: str
    is_meant: bool


@dataclass(frozen=True)
class LotsFound:
    """The lots that fit what was typed, and whether there are more than can be listed.

    `note` says why none is found, where that is known.
    """

    typed: str
    matches: list[LotMatch]
    has_more: bool = False
    note: str = ""

    @property
    def meant(self) -> list[Lot]:
        return [match.lot for match in self.matches if match.is_meant]

    @property
    def is_certain(self) -> bool:
        """Tell whether nobody has to choose: all that was found is what was typed."""
        return bool(self.matches) and all(match.is_meant for match in self.matches)


Way = Callable[[TypedCode], Iterable[LotMatch]]


def find_lots(typed: str, *, also: Iterable[Way] = ()) -> LotsFound:
    """Return the lots that fit: whatever exactly bears what was typed, else what has a part of it.

    A code may be that of a lot and of a drum: then both are found, and neither is certain. `also`
    are ways of the apps above this one. In four queries at most for each way.
    """
    typed = typed.strip()[:TYPED_MAX]
    if not typed:
        return LotsFound(typed, [])
    asked = typed_codes.read(typed)
    kinds = [found for way in (*EXACT_WAYS, *also) if (found := list(way(asked)))]
    if not kinds:
        kinds = [[match for way in LIKELY_WAYS for match in way(asked)]]
    # One lot may fit in several ways: the first one counts.
    matches: dict[int, LotMatch] = {}
    for match in (match for found in kinds for match in found):
        matches.setdefault(match.lot.pk, match)
    found = list(matches.values())
    if len({match.lot.pk for match in found if match.is_meant}) > 1 and len(kinds) > 1:
        found = [replace(match, is_meant=False) for match in found]
    note = "" if found else _never_filled(asked)
    return LotsFound(typed, found[:MATCHES_MAX], len(found) > MATCHES_MAX, note)


def _by_whole_code(asked: TypedCode) -> Iterable[LotMatch]:
    """Find every lot that bears the code, as it is printed, typed in small letters, or scanned."""
    lots = _lots().filter(code__in=asked.spellings)
    if asked.gtin:
        # A bar code names the product too; one that was given its GTIN later is not left out.
        of_product = lots.filter(product__gtin__in=_gtins(asked.gtin))
        lots = of_product if of_product.exists() else lots
    return [LotMatch(lot, _("lot code"), is_meant=True) for lot in lots[: MATCHES_MAX + 1]]


def _gtins(gtin: str) -> list[str]:
    """Return a GTIN of 14 digits, and the shorter ones it stands for."""
    return [gtin, *(gtin[-digits:] for digits in (13, 12, 8) if not gtin[:-digits].strip("0"))]


def _by_supplier_lot(asked: TypedCode) -> Iterable[LotMatch]:
    """Find what came in under a supplier's own lot code."""
    lots = _lots().filter(_any_of("supplier_lot__iexact", asked))
    return [
        LotMatch(lot, _("lot of %(supplier)s") % {"supplier": lot.supplier}, is_meant=True)
        for lot in lots.select_related("product", "supplier")[: MATCHES_MAX + 1]
    ]


def _vessel(asked: TypedCode) -> Place | None:
    named = _any_of("code__iexact", asked) | _any_of("name__iexact", asked)
    return Place.objects.filter(named, kind__in=Place.VESSELS).first()


def _any_of(lookup: str, asked: TypedCode) -> Q:
    """Return the condition that a field is one of the spellings of the code."""
    condition = Q()
    for spelling in sorted(asked.spellings):
        condition |= Q(**{lookup: spelling})
    return condition


def _never_filled(asked: TypedCode) -> str:
    vessel = _vessel(asked)
    return _("%(vessel)s was never filled.") % {"vessel": vessel.code} if vessel else ""


def _by_vessel(asked: TypedCode) -> Iterable[LotMatch]:
    """Find what is in a drum, or was in it last, and after it what was in it before."""
    vessel = _vessel(asked)
    if vessel is None:
        return []
    filled = dict(
        PostingLine.objects.filter(
            ~Q(posting__kind=Posting.Kind.REVERSAL),
            place=vessel,
            lot__isnull=False,
            quantity__gt=0,
            posting__reversed_by__reverses=None,
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


def _by_part_of_code(asked: TypedCode) -> Iterable[LotMatch]:
    parts = _any_of("code__icontains", asked) | _any_of("supplier_lot__icontains", asked)
    return [
        LotMatch(lot, _("part of the lot code"), is_meant=False)
        for lot in _lots().filter(parts)[: MATCHES_MAX + 1]
    ]


def _by_supplier(asked: TypedCode) -> Iterable[LotMatch]:
    """Find what came from a supplier, by the name or a part of it; what belongs to one, too."""
    lots = _lots().filter(
        Q(supplier__name__icontains=asked.code) | Q(owner__name__icontains=asked.code)
    )
    return [
        LotMatch(lot, _("from %(name)s") % {"name": lot.supplier or lot.owner}, is_meant=False)
        for lot in lots.select_related("product", "supplier", "owner")[: MATCHES_MAX + 1]
    ]


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("product").order_by("-made_on", "-id")


EXACT_WAYS: tuple[Way, ...] = (_by_whole_code, _by_supplier_lot, _by_vessel)
# Asked where no exact way finds a lot.
LIKELY_WAYS: tuple[Way, ...] = (_by_part_of_code, _by_supplier)

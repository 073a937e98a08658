"""Which countries the honey of a lot is from, and how a label says it.

Directive 2001/110/EC as changed by Directive (EU) 2024/1438 has a label name every country in
which the honey was harvested, in descending order of weight with the percentage of each, from 14
June 2026; what was packed before may be sold until stocks run out (from memory). Countries may
allow that only the four largest shares are told where they are more than half; that is not done
here. To whole percents that add up to 100 by the largest remainder is the way of this house: the
directive leaves it open.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from inventory.shared.countries import name_of
from inventory.shared.models import House
from inventory.stock.models import Lot
from inventory.stock.models.lots import Origin

UNKNOWN = ""


@dataclass(frozen=True)
class CountryShare:
    """How much of a lot is from one country; `region` where all of that is from one region."""

    country: str
    region: str
    share: Fraction
    percent: int

    @property
    def name(self) -> str:
        return name_of(self.country)

    @property
    def exact_percent(self) -> Decimal:
        return Decimal(self.share.numerator) * 100 / self.share.denominator


def place_of(lot: Lot, house: House) -> tuple[str, str]:
    """Return country and region of honey that came in as this lot; empty while unknown.

    Only what the house took from its own bees is from the house's own country: what it extracted,
    and comb.
    """
    if lot.country:
        return lot.country, lot.region
    is_comb = lot.product is not None and lot.product.form == "comb"
    if (lot.kind == Lot.Kind.EXTRACTION or is_comb) and lot.is_ours:
        return house.origin_country, house.origin_region
    return UNKNOWN, ""


def by_country(origins: Iterable[Origin], house: House) -> list[CountryShare]:
    """Add up the origins of a lot by country, the largest share first, unknown after its equals."""
    shares: dict[str, Fraction] = {}
    regions: dict[str, set[str]] = {}
    for origin in origins:
        country, region = place_of(origin.lot, house)
        shares[country] = shares.get(country, Fraction(0)) + origin.share
        regions.setdefault(country, set()).add(region)
    order = sorted(shares, key=lambda country: (-shares[country], country == UNKNOWN, country))
    percents = whole_percents([shares[country] for country in order])
    return [
        CountryShare(
            country=country,
            region=regions[country].copy().pop() if len(regions[country]) == 1 else "",
            share=shares[country],
            percent=percent,
        )
        for country, percent in zip(order, percents, strict=True)
    ]


def whole_percents(shares: Sequence[Fraction]) -> list[int]:
    """Return shares that add up to one as whole percents that add up to 100.

    Each is cut to a whole percent; those cut most get one more until it is 100. Of equals the
    first does.
    """
    cut = [int(share * 100) for share in shares]
    missing = 100 - sum(cut)
    most_cut = sorted(range(len(shares)), key=lambda at: (cut[at] - shares[at] * 100, at))
    for at in most_cut[:missing]:
        cut[at] += 1
    return cut


def label_lines(shares: Sequence[CountryShare], house: House) -> list[str]:
    """Return what a label says of the origin; nothing where it could not be said truly.

    A house without a rule names the countries, where all are known. One that must state
    percentages states them for every blend, an unknown share too, so that it is seen.
    """
    if not shares or (len(shares) == 1 and shares[0].country == UNKNOWN):
        return []
    if len(shares) == 1:
        [only] = shares
        place = f"{only.region}, {only.name}" if only.region else only.name
        return [_("Product of %(place)s") % {"place": place}]
    if house.origin_rule == House.OriginRule.PERCENTAGES:
        told = [
            _("%(country)s %(percent)s") % {"country": each.name, "percent": _percent(each)}
            for each in shares
        ]
        return [_("Blend of honeys from: %(countries)s") % {"countries": ", ".join(told)}]
    if any(each.country == UNKNOWN for each in shares):
        return []
    return [_("Product of %(place)s") % {"place": ", ".join(each.name for each in shares)}]


def _percent(share: CountryShare) -> str:
    # Half a percent is no zero.
    return _("%(number)s %%") % {"number": share.percent} if share.percent else _("under 1 %")

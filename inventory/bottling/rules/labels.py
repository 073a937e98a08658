"""The words of a label, and the least height of its net weight; nothing is read or written.

Sources: 21 CFR 101.7 and 101.2(c) (type of 1/16 in elsewhere than the front, from memory),
Directive 76/211/EEC, annex I 3.1; Regulation (EU) 1169/2011, article 13(2) (1.2 mm, measured on
the lower-case "x", from memory). This helps to set up a label; local label law applies.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.physics import labelling
from inventory.physics.units import MM_PER_INCH
from inventory.shared import conventions, lettering
from inventory.shared.models import House

# The least height of the small "o" or "x" of all other words.
SMALL_LETTERS_MM = {House.Market.US: 25.4 / 16, House.Market.EU: 1.2, House.Market.OTHER: 1.2}
# Above 10 kg the directive says no height; its last step is used on.
EUROPEAN_MOST_G = 10_000
SHARE_OF_PANEL_FOR_NET_WEIGHT = 0.3
# Letters are set a little larger than the least, for printers that draw them thin.
RESERVE = 1.01
SMALL_PANEL_IN2 = 5


@dataclass(frozen=True)
class LabelFacts:
    """All that the label of a run says, as it is known about the run and the house."""

    form: str
    variety: str
    declared_grams: Decimal
    gtin: str
    lot_code: str
    best_by: date | None
    house_name: str
    address: tuple[str, ...]
    market: str
    brand: str = ""
    sources: Sequence[tuple[str, Fraction]] = ()
    origin: tuple[str, ...] = ()
    # The beekeeper whose honey was packed for them; empty for the house's own.
    packed_for: str = ""


@dataclass(frozen=True)
class LabelText:
    """One thing that a label says: `name` is what it is, `title` what people call it."""

    name: str
    title: str
    text: str


@dataclass(frozen=True)
class NetWeightType:
    """How high the net weight must be, and the size of type that makes it so."""

    least_mm: float
    measured_on: str
    size_mm: float


def texts(facts: LabelFacts) -> list[LabelText]:
    """Return what a label says, from the top, without what is not known."""
    titles = {
        "brand": _("Brand"),
        "common_name": _("Common name"),
        "variety": _("Kind of honey"),
        "sources": _("Sources"),
        "origin": _("Origin"),
        "house": _("Name of the house"),
        "address": _("Address"),
        "lot": _("Lot code"),
        "best_by": _("Best by"),
        "caution": _("Caution"),
        "net_weight": _("Net weight"),
    }
    with translation.override(language(facts.market)):
        said = {
            "brand": facts.brand,
            "common_name": common_name(facts.form),
            "variety": facts.variety,
            "sources": blend_sentence(facts.sources),
            "origin": "\n".join(facts.origin),
            "house": house_line(facts),
            "address": "\n".join(facts.address),
            "lot": lot_line(facts.lot_code),
            "best_by": best_by_line(facts.best_by),
            "caution": _("Do not feed honey to infants under one year of age."),
            "net_weight": net_weight(facts.declared_grams, facts.market),
        }
    return [LabelText(name, titles[name], text) for name, text in said.items() if text]


def language(market: str) -> str:
    """Return the language of a label: that of the house, in the United States English.

    Whoever reads the page, a label is read where it is sold (21 CFR 101.15(c), from memory).
    """
    return "en" if market == House.Market.US else conventions.current().language


def house_line(facts: LabelFacts) -> str:
    """Return the house, or for whom it packed the honey of another beekeeper."""
    if not facts.packed_for:
        return facts.house_name
    return _("Packed for %(owner)s by %(house)s") % {
        "owner": facts.packed_for,
        "house": facts.house_name,
    }


def common_name(form: str) -> str:
    """Return what the law calls honey in this form; liquid honey is honey."""
    names = {
        "creamed": _("Creamed honey"),
        "comb": _("Comb honey"),
        "chunk": _("Honey with comb"),
    }
    return names.get(form, _("Honey"))


def lot_line(code: str) -> str:
    return _("Lot %(code)s") % {"code": code} if code else ""


def best_by_line(day: date | None) -> str:
    return _("Best by %(day)s") % {"day": date_format(day, "DATE_FORMAT")} if day else ""


def net_weight(grams: Decimal, market: str) -> str:
    """Return the net weight as the market wants it: metric alone outside the United States."""
    is_metric = market != House.Market.US
    said = str(labelling.net_contents_statement(grams, metric_only=is_metric))
    return said.replace(".", conventions.current().decimal_sign) if is_metric else said


def blend_sentence(sources: Sequence[tuple[str, Fraction]]) -> str:
    """Return of what sources a honey is, by share, largest first; empty for one source alone.

    Shares are whole percents that add up to 100: what rounding down leaves goes to the largest
    remainders. A source of less than half a percent that gets none is left out.
    """
    shares: dict[str, Fraction] = {}
    for source, share in sources:
        shares[source] = shares.get(source, Fraction(0)) + share
    if len(shares) < 2:
        return ""
    percents = _whole_percents(shares)
    named = [
        _("%(source)s %(percent)s %%") % {"source": _first_small(source), "percent": percent}
        for source, percent in sorted(percents.items(), key=lambda pair: (-pair[1], pair[0]))
        if percent
    ]
    return _("Blend of %(sources)s") % {"sources": ", ".join(named)}


def net_weight_type(
    *, grams: Decimal, market: str, panel_in2: float, statement: str
) -> NetWeightType:
    """Return the least height of the net weight, and the size of type that reaches it.

    In the United States by the area of the front panel, measured on the upper-case letter, or on
    the small "o" where small letters are used; in the European Union, and elsewhere in metric
    units, by the weight, measured on the figures.
    """
    letters = lettering.face(bold=True)
    if market != House.Market.US:
        within = min(float(grams), EUROPEAN_MOST_G)
        least = float(labelling.minimum_figure_height_mm(within))
        return NetWeightType(least, _("figures"), least * RESERVE / letters.figure_em)
    least = float(labelling.minimum_type_height(panel_in2)) * float(MM_PER_INCH)
    if statement == statement.upper():
        return NetWeightType(least, _("capital letters"), least * RESERVE / letters.capital_em)
    return NetWeightType(least, _("the small letter “o”"), least * RESERVE / letters.small_o_em)


def small_type_mm(market: str) -> float:
    """Return the size of type of all other words, in which the small "o" is high enough."""
    return SMALL_LETTERS_MM[House.Market(market)] / lettering.face().small_o_em


def is_in_the_lower_part(market: str, panel_in2: float) -> bool:
    """Tell whether the net weight must be in the lower 30 % of the panel (21 CFR 101.7(f))."""
    return market == House.Market.US and panel_in2 > SMALL_PANEL_IN2


def rectangle_in2(width_mm: float, height_mm: float) -> float:
    """Return the area of a flat front panel, measured in mm, in square inches."""
    inch = float(MM_PER_INCH)
    return float(labelling.rectangular_panel_in2(height_mm / inch, width_mm / inch))


def round_jar_in2(*, height_mm: float, around_mm: float) -> float:
    """Return the area of the front panel of a round jar, measured in mm, in square inches."""
    inch = float(MM_PER_INCH)
    return float(labelling.cylindrical_panel_in2(height_mm / inch, around_mm / inch))


def tenths(length_mm: float) -> Decimal:
    """Return a length as sentences tell it, to a tenth of a millimetre."""
    return Decimal(str(length_mm)).quantize(Decimal("0.1"), ROUND_HALF_UP)


def _whole_percents(shares: Mapping[str, Fraction]) -> dict[str, int]:
    exact = {source: share * 100 for source, share in shares.items()}
    whole = {source: int(percent) for source, percent in exact.items()}
    by_remainder = sorted(exact, key=lambda source: (whole[source] - exact[source], source))
    for source in by_remainder[: round(sum(exact.values())) - sum(whole.values())]:
        whole[source] += 1
    return whole


def _first_small(source: str) -> str:
    """Write a source within a sentence: its first letter small, unless the next is a capital."""
    if len(source) > 1 and source[1].isupper():
        return source
    return source[:1].lower() + source[1:]

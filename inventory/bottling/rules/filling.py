"""Filling jars: what a weight needs in room, where drawn honey went, and what cannot be."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory.bottling.models import Product, Size
from inventory.shared import words
from inventory.shared.days import month_end
from inventory.shared.errors import (
    BadValue,
    LotOnHold,
    NotEnoughHoney,
    StockReserved,
    VesselTooSmall,
    parameters_named,
)
from inventory.stock import density, dip_weights, vessels
from inventory.stock.models import Balance, Place
from inventory.stock.rules import hold_reason

# If the honey left for the jars is below their label weight by more than this share, the figures
# are refused: errors of scale and dip stick and honey left in the pipes are smaller together.
SHORTFALL_MAX = Fraction(1, 10)
# More honey drawn than the pieces hold, by more than this share, is asked about.
EXCESS_ASKED = Fraction(1, 4)
# Wax is about a twentieth of the weight of new comb with its honey (common practice: a pound of wax
# holds some twenty pounds), and weighs 0.96 g a millilitre (from memory: 0.958 to 0.970).
WAX_SHARE = Decimal("0.05")
WAX_GRAMS_PER_ML = Decimal("0.96")


@dataclass(frozen=True)
class Fit:
    """The room a declared weight needs at one temperature, beside what the size takes."""

    size: Size
    celsius: Decimal
    needed_ml: Decimal
    uncertainty_ml: Decimal

    @property
    def fits(self) -> bool:
        return self.needed_ml <= self.size.brimful_ml

    @property
    def is_close(self) -> bool:
        """It fits, but by less than the density tables can be wrong."""
        return self.fits and self.needed_ml + self.uncertainty_ml > self.size.brimful_ml

    @property
    def level(self) -> str:
        """Return error, warning or success, as a notice is marked."""
        if not self.fits:
            return "error"
        return "warning" if self.is_close else "success"

    @property
    def sentence(self) -> str:
        """Say whether the weight fits at this temperature, with the two volumes."""
        figures = {
            "weight": declared(self.size),
            "needed": words.small_volume(self.needed_ml),
            "temperature": words.temperature(self.celsius),
            "size": self.size.name,
            "brimful": words.small_volume(self.size.brimful_ml),
        }
        if not self.fits:
            return (
                _(
                    "It does not fit: %(weight)s of this honey takes up %(needed)s at "
                    "%(temperature)s, and the capacity of %(size)s to the brim is "
                    "%(brimful)s."
                )
                % figures
            )
        if self.is_close:
            return (
                _(
                    "It only just fits: %(weight)s of this honey takes up %(needed)s at "
                    "%(temperature)s, and the capacity of %(size)s to the brim is "
                    "%(brimful)s. Fill one as a test first."
                )
                % figures
            )
        return (
            _(
                "It fits: %(weight)s of this honey takes up %(needed)s at %(temperature)s, "
                "and the capacity of %(size)s to the brim is %(brimful)s."
            )
            % figures
        )


@dataclass(frozen=True)
class Shares:
    """Where the drawn honey of a run went, in whole grams; the parts add up to `drawn_grams`."""

    drawn_grams: int
    loss_grams: int
    broken_grams: int

    @property
    def packed_grams(self) -> int:
        return self.drawn_grams - self.loss_grams - self.broken_grams

    def with_lost(self, grams: int) -> "Shares":
        """Return the same honey with so much more of it lost, and less in the pieces."""
        return replace(self, loss_grams=self.loss_grams + grams)


def fit(size: Size, *, moisture_percent: Decimal, celsius: Decimal, comb_grams: int = 0) -> Fit:
    """Work out whether the declared weight of honey of this moisture goes into the size.

    `comb_grams` of it are comb, whose wax takes more room than honey.

    Raises `ValueError` with range and unit for a temperature outside the density's range.
    """
    grams = size.declared_grams
    litres = density.litres_of(grams, moisture_percent=moisture_percent, celsius=celsius)
    weighed = density.grams_of(litres * 1000, moisture_percent=moisture_percent, celsius=celsius)
    share = Decimal(weighed.uncertainty_grams) / weighed.grams
    needed_ml = litres * 1000
    if comb_grams:
        wax = comb_grams * WAX_SHARE
        needed_ml += wax / WAX_GRAMS_PER_ML - needed_ml * wax / grams
    return Fit(size, celsius, needed_ml, (needed_ml * share).quantize(Decimal("0.1")))


def fits(
    size: Size, *, moisture_percent: Decimal, celsius: Decimal, comb_grams: int = 0
) -> list[Fit]:
    """Return the fit at the filling temperature and at 20 °C, where the honey ends up."""
    temperatures = dict.fromkeys([celsius, density.REFERENCE_CELSIUS])
    return [
        fit(size, moisture_percent=moisture_percent, celsius=degrees, comb_grams=comb_grams)
        for degrees in temperatures
    ]


def grams_needed(size: Size, pieces: int) -> int:
    """Return the whole grams that so many pieces need to reach their label, rounded up."""
    return int((pieces * size.declared_grams).to_integral_value(ROUND_CEILING))


def share_out(size: Size, *, drawn_grams: int, loss_grams: int, pieces_broken: int) -> Shares:
    """Share the drawn honey out: lost, in broken pieces (each at its label weight), the rest."""
    broken = pieces_broken * size.declared_grams
    return Shares(drawn_grams, loss_grams, int(broken.to_integral_value(ROUND_HALF_EVEN)))


def drawn_between_dips(
    there: Balance, *, before_mm: int, after_mm: int, celsius: Decimal, mark_mm: Decimal
) -> density.WeighedVolume:
    """Return what was drawn between two dips of a vessel, by density at its lot's moisture.

    `mark_mm` is the finest mark of the stick. Raises `BadValue` at the dip that cannot be.
    """
    for parameter, depth_mm in (("before_mm", before_mm), ("after_mm", after_mm)):
        with parameters_named(depth_mm=parameter):
            vessels.litres_at(there.place, depth_mm)
    if after_mm >= before_mm:
        raise BadValue(
            _(
                "The dip after the run is not lower than the dip before it, so no honey "
                "was drawn. Check both dips."
            ),
            parameter="after_mm",
        )
    try:
        return dip_weights.between(
            there.place,
            before_mm,
            after_mm,
            moisture_percent=there.honey_lot.honey_moisture,
            celsius=celsius,
            mark_mm=mark_mm,
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error


def brimful_grams(size: Size, *, moisture_percent: Decimal, celsius: Decimal) -> int:
    """Return the most honey that one piece can hold, to the brim, at its temperature.

    The density counts at the upper end of what it can be, so that only the impossible is beyond.
    Raises `ValueError` outside the density's range.
    """
    weighed = density.grams_of(
        size.brimful_ml / 1000, moisture_percent=moisture_percent, celsius=celsius
    )
    return weighed.grams + weighed.uncertainty_grams


def beyond_brim(
    size: Size,
    shares: Shares,
    pieces_filled: int,
    *,
    moisture_percent: Decimal | None,
    celsius: Decimal | None,
) -> int:
    """Return the grams that are said to be in the pieces and can't be: they don't hold so much.

    Without `celsius` the pieces were filled at 20 °C, where the most goes in. 0 for honey of which
    the moisture is not known, and for a temperature outside the density's range, which is refused
    by itself.
    """
    if moisture_percent is None:
        return 0
    celsius = density.REFERENCE_CELSIUS if celsius is None else celsius
    try:
        each = brimful_grams(size, moisture_percent=moisture_percent, celsius=celsius)
    except ValueError:
        return 0
    return max(0, shares.packed_grams - pieces_filled * each)


def beyond_brim_sentence(size: Size, shares: Shares, pieces_filled: int, excess: int) -> str:
    """Ask whether more honey was drawn than the pieces can hold, to book the rest as lost."""
    return _(
        "Of the %(drawn)s drawn, %(packed)s were left for %(pieces)s of %(label)s, but filled to "
        "the brim they hold %(most)s at most. Check the figures and the capacity of the size, or "
        "tick that they are right: then %(excess)s are booked as lost in filling."
    ) % {
        "drawn": words.weight(shares.drawn_grams),
        "packed": words.weight(shares.packed_grams, 1),
        "pieces": words.pieces(pieces_filled),
        "label": declared(size),
        "most": words.weight(shares.packed_grams - excess, 1),
        "excess": words.weight(excess, 1),
    }


def overfill_beyond_brim_sentence(
    size: Size, shares: Shares, pieces_filled: int, excess: int
) -> str:
    """Say of a recorded run that a part of its overfill can't be in the pieces."""
    return _(
        "By these figures %(pieces)s of %(label)s hold %(packed)s, but filled to the brim they "
        "hold %(most)s at most: %(excess)s can't be overfill. Check the honey drawn, the loss and "
        "the capacity of the size."
    ) % {
        "pieces": words.pieces(pieces_filled),
        "label": declared(size),
        "packed": words.weight(shares.packed_grams, 1),
        "most": words.weight(shares.packed_grams - excess, 1),
        "excess": words.weight(excess, 1),
    }


def is_impossible(size: Size, shares: Shares, pieces_filled: int) -> bool:
    """Tell whether far too little honey was left for the pieces said to be filled."""
    label_grams = Fraction(size.declared_grams) * pieces_filled
    return shares.packed_grams <= 0 or shares.packed_grams < label_grams * (1 - SHORTFALL_MAX)


def is_excessive(size: Size, shares: Shares, pieces: int) -> bool:
    """Tell whether far more honey was drawn than the pieces, broken ones included, can hold."""
    return shares.drawn_grams > Fraction(size.declared_grams) * pieces * (1 + EXCESS_ASKED)


def best_by(day: date, months: int) -> date:
    """Return the last day of the month that lies `months` after `day`."""
    return month_end(day, months)


def declared(size: Size) -> str:
    """Write the declared weight as its label is typed: "12 lb", "500 g"."""
    amount = number_format(f"{size.declared_amount.normalize():f}", force_grouping=True)
    return f"{amount} {size.declared_unit}"


def honey_error(
    there: Balance | None, source: Place, grams: int, *, parameter: str
) -> LotOnHold | NotEnoughHoney | StockReserved | None:
    """Return the refusal when a vessel cannot give `grams`, or None when it can."""
    if there is not None and there.honey_lot.is_on_hold:
        lot = there.honey_lot
        return LotOnHold(
            _("Lot %(lot)s in %(place)s is on hold and can't be bottled: %(reason)s")
            % {"lot": lot.code, "place": source.name, "reason": hold_reason(lot)},
            parameter=parameter,
        )
    if there is None or there.quantity < grams:
        asked, inside = words.weights_apart(grams, there.quantity if there else 0)
        return NotEnoughHoney(
            _(
                "Not enough honey: the run needs %(asked)s, but %(place)s has only "
                "%(there)s. Plan fewer pieces, or choose another vessel."
            )
            % {"asked": asked, "place": source.name, "there": inside},
            parameter=parameter,
        )
    if there.free < grams:
        asked, free = words.weights_apart(grams, there.free)
        return StockReserved(
            _(
                "%(place)s is reserved for an order: the run needs %(asked)s, but only "
                "%(free)s is free. Choose another vessel, or cancel the order first."
            )
            % {"asked": asked, "place": source.name, "free": free},
            parameter=parameter,
        )
    return None


def draw_notices(there: Balance | None, source: Place, quantity: int) -> list[str]:
    """Say what is odd about a quantity that was taken from a place: it is booked all the same.

    What the books lack is to be settled, jars of honey on hold are on hold too, and a reservation
    gives way to what is gone.
    """
    notices = []
    if there is not None and there.honey_lot.is_on_hold:
        lot = there.honey_lot
        notices.append(
            _("Lot %(lot)s is on hold, so its jars will be on hold too: %(reason)s")
            % {"lot": lot.code, "reason": hold_reason(lot)}
        )
    in_words_apart = there.item.in_words_apart if there else words.weights_apart
    has, free = (there.quantity, there.free) if there else (0, 0)
    asked, inside, unreserved = in_words_apart(quantity, has, free)
    figures = {"asked": asked, "place": source.name, "there": inside, "free": unreserved}
    if has < quantity:
        notices.append(
            _(
                "The run used %(asked)s, but the books have only %(there)s in %(place)s. The "
                "rest will be to be settled."
            )
            % figures
        )
    elif free < quantity:
        notices.append(
            _(
                "The run used %(asked)s, but only %(free)s in %(place)s is free. The "
                "reservation for an order is cut by the rest."
            )
            % figures
        )
    return notices


def fit_error(
    there: Balance | None, size: Size, celsius: Decimal, *, comb_grams: int = 0
) -> VesselTooSmall | BadValue | None:
    """Return the refusal when the declared weight does not go into the size."""
    if there is None:
        return None
    try:
        found = fits(
            size,
            moisture_percent=there.honey_lot.honey_moisture,
            celsius=celsius,
            comb_grams=comb_grams,
        )
    except ValueError as error:
        return BadValue(str(error), parameter="celsius")
    for each in found:
        if not each.fits:
            return VesselTooSmall(each.sentence, parameter="product")
    return None


def variety_sentence(product: Product, there: Balance) -> str:
    """Ask whether honey may be sold under a variety that its floral source does not name.

    Empty where it does, or where the product has no variety or one of the house's own choice.
    """
    lot = there.honey_lot
    if product.variety is None or product.variety.covers(lot.floral_source):
        return ""
    return _(
        "%(place)s has %(source)s honey, but the jars are sold as %(variety)s. Choose another "
        "vessel, or tick that the label is right."
    ) % {
        "place": there.place.name,
        "source": lot.floral_source,
        "variety": product.variety.name,
    }


def excess_sentence(size: Size, shares: Shares, pieces_filled: int) -> str:
    """Ask whether far more honey was drawn than the pieces hold."""
    return _(
        "%(drawn)s were drawn for %(pieces)s of %(label)s. That is over a quarter more "
        "than they need. Check the figures, or tick that they are right."
    ) % {
        "drawn": words.weight(shares.drawn_grams),
        "pieces": words.pieces(pieces_filled),
        "label": declared(size),
    }


def impossible_sentence(size: Size, shares: Shares, pieces_filled: int) -> str:
    """Say that too little honey was left for the pieces said to be filled."""
    return _(
        "%(pieces)s of %(label)s need %(wanted)s, but of the %(drawn)s drawn only %(left)s "
        "was left for them. Check the pieces, the honey drawn and the loss."
    ) % {
        "pieces": words.pieces(pieces_filled),
        "label": declared(size),
        "wanted": words.weight(grams_needed(size, pieces_filled)),
        "drawn": words.weight(shares.drawn_grams),
        "left": words.weight(max(0, shares.packed_grams)),
    }


def underfill_sentence(size: Size, short_grams_each: Decimal) -> str:
    """Say that the pieces hold less than their label, by how much on average."""
    return _(
        "The pieces are underfilled: on average %(short)s below the label weight of "
        "%(label)s. Weigh some before you sell them. A fill check shows what the rule "
        "allows."
    ) % {"short": words.grams(short_grams_each), "label": declared(size)}

"""Creamed, chunk and comb honey: how much seed or comb goes in, and where it went."""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from django.utils.translation import gettext as _

from inventory.bottling.models import Product, Size
from inventory.bottling.rules import filling
from inventory.bottling.rules.filling import (
    SHORTFALL_MAX,
    Shares,
    declared,
    grams_needed,
    honey_error,
)
from inventory.physics import units
from inventory.shared import words
from inventory.shared.errors import (
    HouseError,
    LotOnHold,
    NotAllowedNow,
    NotEnoughStock,
    StockReserved,
)
from inventory.stock import rules as stock_rules
from inventory.stock.models import Balance, Item, Lot, Place

# Makers of creamed honey use 5 to 15 percent of seed (common practice). Much less hardly seeds,
# and much more is a slip of the finger.
USUAL_SEED_PERCENT = Decimal(10)
SEED_PERCENT_ASKED = (Decimal(3), Decimal(30))
SETTING_DAYS_MAX = 365


@dataclass(frozen=True)
class Addition:
    """What goes into the jars of a run beside the honey of its vessel.

    Seed is honey of another vessel, and `quantity` its grams; comb is of a product, counted in
    pieces or grams.
    """

    lot: Lot
    item: Item
    place: Place
    quantity: int
    grams: int
    is_comb: bool = False


def addition_of(there: Balance, quantity: int) -> Addition:
    """Return so much seed from a vessel, or comb from a store, as what goes into jars."""
    product = there.honey_lot.product
    if product is None:
        return Addition(there.honey_lot, there.item, there.place, quantity, quantity)
    grams = comb_grams(product, quantity)
    return Addition(there.honey_lot, there.item, there.place, quantity, grams, is_comb=True)


def seed_grams(grams: int, percent: Decimal) -> int:
    """Return the seed in so much finished honey.

    >>> seed_grams(50_000, Decimal(10))
    5000
    """
    return _whole(Fraction(grams) * Fraction(percent) / 100)


def seed_for(drawn_grams: int, percent: Decimal) -> int:
    """Return the seed that goes with so much honey drawn, so that it is its share of both.

    >>> seed_for(45_000, Decimal(10))
    5000
    """
    return _whole(Fraction(drawn_grams) * Fraction(percent) / (100 - Fraction(percent)))


def seed_percent(seed: int, drawn_grams: int) -> Decimal:
    """Return the share of the seed in both together, in percent to a tenth."""
    share = Fraction(seed * 100, seed + drawn_grams)
    return (Decimal(share.numerator) / share.denominator).quantize(Decimal("0.1"))


def is_odd_share(percent: Decimal) -> bool:
    low, high = SEED_PERCENT_ASKED
    return not low <= percent <= high


def odd_share_sentence(percent: Decimal) -> str:
    """Ask whether a share of seed that nobody uses is meant."""
    return _(
        "%(percent)s %% of seed is unusual: 5 to 15 %% is common. Check the figure, or tick that "
        "it is right."
    ) % {"percent": words.number(percent)}


def ready_on(day: date, setting_days: int) -> date | None:
    """Return the day jars are ready for sale; None for those that are at once."""
    return day + timedelta(days=setting_days) if setting_days else None


def comb_grams(product: Product, quantity: int) -> int:
    """Return the weight of so much comb; a piece counts with the weight on its label."""
    if product.item.is_weighed:
        return quantity
    return units.round_grams(product.declared_grams * quantity)


def comb_quantity(product: Product, grams: int) -> int:
    """Return how much comb so many grams are, in what its product is counted in, rounded up."""
    if product.item.is_weighed:
        return grams
    return math.ceil(Fraction(grams) / Fraction(product.declared_grams))


def no_comb_sentence() -> str:
    return _("Choose the comb that goes into the jars.")


def comb_error_sentence(size: Size, grams_each: int) -> str:
    """Say why so much comb can't go into one jar; empty where it can."""
    if grams_each <= 0:
        return _("Enter how much comb goes into one jar.")
    if grams_each >= size.declared_grams:
        return _(
            "%(comb)s of comb leaves no room for liquid honey in a jar of %(label)s. Enter less "
            "comb for one jar."
        ) % {"comb": words.grams(Decimal(grams_each), 0), "label": declared(size)}
    return ""


def seed_errors(
    there: Balance | None, seed_source: Place, grams: int, *, parameter: str
) -> list[HouseError]:
    """Return why a vessel can't give so much seed."""
    found: list[HouseError] = []
    if error := honey_error(there, seed_source, grams, parameter=parameter):
        found.append(error)
    return found


def comb_errors(comb: Balance | None, quantity: int, *, parameter: str) -> list[HouseError]:
    """Return why so much comb can't be taken; None is comb that is gone."""
    if comb is None:
        return [NotEnoughStock(_("That comb is gone. Choose another."), parameter=parameter)]
    found: list[HouseError] = []
    if comb.honey_lot.is_on_hold:
        found.append(on_hold(comb.honey_lot, parameter))
    asked, there, free = comb.item.in_words_apart(quantity, comb.quantity, comb.free)
    figures = {
        "asked": asked,
        "lot": comb.honey_lot.code,
        "place": comb.place.name,
        "there": there,
        "free": free,
    }
    if comb.quantity < quantity:
        sentence = _(
            "Not enough comb: %(asked)s needed, but %(place)s has only %(there)s of lot %(lot)s."
        )
        found.append(NotEnoughStock(sentence % figures, parameter=parameter))
    elif comb.free < quantity:
        sentence = _(
            "Comb of lot %(lot)s is reserved for an order: %(asked)s needed, but only %(free)s "
            "is free in %(place)s."
        )
        found.append(StockReserved(sentence % figures, parameter=parameter))
    return found


def owner_error(there: Balance | None, added: Lot | None, *, parameter: str) -> HouseError | None:
    """Return the refusal of seed or comb that belongs to another than the honey does."""
    if there is None or added is None or added.owner_id == there.honey_lot.owner_id:
        return None
    return NotAllowedNow(
        _(
            "Lot %(lot)s belongs to another than the honey in %(place)s, so they can't be mixed. "
            "Choose another, or buy it from its owner first."
        )
        % {"lot": added.code, "place": there.place.name},
        parameter=parameter,
    )


def on_hold(lot: Lot, parameter: str) -> LotOnHold:
    """Return the refusal of honey of a lot that is on hold."""
    return LotOnHold(
        _("Lot %(lot)s is on hold and can't be used: %(reason)s")
        % {"lot": lot.code, "reason": stock_rules.hold_reason(lot)},
        parameter=parameter,
    )


@dataclass(frozen=True)
class Needed:
    """What a planned run needs of each kind of honey."""

    liquid_grams: int
    seed_grams: int = 0
    comb_quantity: int = 0
    comb_grams: int = 0


def needed(
    size: Size,
    pieces: int,
    *,
    seed_percent: Decimal | None = None,
    comb: Balance | None = None,
    comb_grams_each: int = 0,
) -> Needed:
    """Return what so many pieces need: their label weight, less the seed or the comb."""
    grams = grams_needed(size, pieces)
    if seed_percent:
        seed = seed_grams(grams, seed_percent)
        return Needed(grams - seed, seed_grams=seed)
    if comb is not None and comb.honey_lot.product:
        wanted = comb_grams_each * pieces
        quantity = comb_quantity(comb.honey_lot.product, wanted)
        return Needed(grams - wanted, comb_quantity=quantity, comb_grams=wanted)
    return Needed(grams)


def split(
    shares: Shares, addition: Addition | None, *, pieces_filled: int, pieces_broken: int
) -> tuple[Shares, Shares]:
    """Return where the honey of the vessel and the addition went, in this order.

    `shares` is both together, and so are the two, gram for gram. Seed is stirred in, so that it is
    lost as all the honey is; comb is put in by hand, so that only liquid honey stays in the filler.
    """
    if addition is None:
        return shares, Shares(0, 0, 0)
    if addition.is_comb:
        broken = comb_grams_of(addition, broken_quantity(addition, pieces_filled, pieces_broken))
        broken, loss = min(broken, shares.broken_grams), 0
    else:
        share = Fraction(addition.grams, shares.drawn_grams)
        broken, loss = _whole(shares.broken_grams * share), _whole(shares.loss_grams * share)
    return (
        Shares(
            shares.drawn_grams - addition.grams,
            shares.loss_grams - loss,
            shares.broken_grams - broken,
        ),
        Shares(addition.grams, loss, broken),
    )


def broken_quantity(addition: Addition, pieces_filled: int, pieces_broken: int) -> int:
    """Return how much of the comb was in the broken pieces, whole pieces of comb at most."""
    return addition.quantity * pieces_broken // (pieces_filled + pieces_broken)


def comb_grams_of(addition: Addition, quantity: int) -> int:
    """Return the weight of so much of the comb; a piece counts with its share of all of it."""
    return _whole(Fraction(addition.grams * quantity, addition.quantity))


def cut_sentences(size: Size, grams: int, pieces: int) -> tuple[str, str]:
    """Say what is wrong with so much comb for the pieces it was cut into: what can't be, and what
    is asked about.

    The same bounds count as for honey that is filled.
    """
    shares = Shares(grams, 0, 0)
    figures = {
        "pieces": words.pieces(pieces),
        "label": declared(size),
        "left": words.weight(max(0, grams)),
        "wanted": words.weight(grams_needed(size, pieces)),
    }
    impossible = asked = ""
    if filling.is_impossible(size, shares, pieces):
        impossible = (
            _(
                "%(pieces)s of %(label)s need %(wanted)s, but only %(left)s of comb was left for "
                "them. Check the pieces, the comb and what was lost and drained."
            )
            % figures
        )
    elif filling.is_excessive(size, shares, pieces):
        asked = (
            _(
                "%(left)s of comb was left for %(pieces)s of %(label)s. That is over a quarter "
                "more than they need. Check the figures, or tick that they are right."
            )
            % figures
        )
    return impossible, asked


def parents(
    lot: Lot, liquid: Shares, addition: Addition | None, added: Shares
) -> list[tuple[Lot, int]]:
    """Return the lots in the jars with the grams of each, a lot that is both once."""
    if addition is None or addition.lot == lot:
        return [(lot, liquid.packed_grams + added.packed_grams)]
    found = [(lot, liquid.packed_grams), (addition.lot, added.packed_grams)]
    return [(parent, grams) for parent, grams in found if grams]


def impossible_sentence(
    size: Size, liquid: Shares, added: Shares, pieces_filled: int, addition: Addition | None
) -> str:
    """Say that the figures can't be, where far too little was left for the jars, or too much comb.

    Liquid honey is held against the label weight less the comb.
    """
    if addition and addition.is_comb:
        wanted = Fraction(size.declared_grams) * pieces_filled - added.packed_grams
        is_short = liquid.packed_grams < wanted * (1 - SHORTFALL_MAX)
        if liquid.packed_grams <= 0 or is_short or wanted <= 0:
            return liquid_sentence(size, liquid, added, pieces_filled)
        return ""
    both = Shares(
        liquid.drawn_grams + added.drawn_grams,
        liquid.loss_grams + added.loss_grams,
        liquid.broken_grams + added.broken_grams,
    )
    if filling.is_impossible(size, both, pieces_filled):
        return filling.impossible_sentence(size, both, pieces_filled)
    return ""


def odd_figures(
    size: Size,
    shares: Shares,
    addition: Addition | None,
    *,
    pieces_filled: int,
    pieces_broken: int,
    beyond_brim: int = 0,
) -> list[str]:
    """Ask about far more honey than the pieces hold, and about a share of seed nobody uses.

    `beyond_brim` are the grams that would not go into them at all.
    """
    asked = []
    if beyond_brim:
        asked.append(filling.beyond_brim_sentence(size, shares, pieces_filled, beyond_brim))
    elif filling.is_excessive(size, shares, pieces_filled + pieces_broken):
        asked.append(filling.excess_sentence(size, shares, pieces_filled))
    if addition and not addition.is_comb:
        percent = seed_percent(addition.grams, shares.drawn_grams - addition.grams)
        if is_odd_share(percent):
            asked.append(odd_share_sentence(percent))
    return asked


def liquid_sentence(size: Size, liquid: Shares, comb: Shares, pieces_filled: int) -> str:
    """Say that the comb and the liquid honey do not fill the jars."""
    wanted = units.round_grams(size.declared_grams * pieces_filled) - comb.packed_grams
    return _(
        "%(pieces)s of %(label)s with %(comb)s of comb need %(wanted)s of liquid honey, but only "
        "%(left)s was left for them. Check the pieces, the comb, the honey drawn and the loss."
    ) % {
        "pieces": words.pieces(pieces_filled),
        "label": declared(size),
        "comb": words.weight(comb.packed_grams),
        "wanted": words.weight(max(0, wanted)),
        "left": words.weight(max(0, liquid.packed_grams)),
    }


def _whole(figure: Fraction) -> int:
    exact = Decimal(figure.numerator) / figure.denominator
    return int(exact.to_integral_value(ROUND_HALF_EVEN))

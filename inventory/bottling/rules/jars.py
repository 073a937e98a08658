"""Jars that become something else: what may become what, and which figures can't be."""

from collections.abc import Iterable, Mapping
from datetime import date
from fractions import Fraction

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.bottling.models import PackagingPart, Product, UsedPart
from inventory.bottling.rules.parts import PartNeed, needs
from inventory.shared import checks, words
from inventory.shared.errors import LotOnHold, NotEnoughParts, Problems
from inventory.shared.money import share_cents
from inventory.stock import density
from inventory.stock import rules as stock_rules
from inventory.stock.models import Lot
from inventory.stock.models.lots import MOISTURE_MAX

# Scales and drops of water in a washed jar are off by less than this share.
EXCESS_ASKED = Fraction(1, 50)
# Four weeks of one person's days and nights.
LABOUR_MINUTES_MAX = 28 * 24 * 60
# More boxes or jars of one kind in a box than anybody packs.
CONTENT_MAX = 100


def can_become(source: Product, target: Product) -> bool:
    """Tell whether jars of one product can be labelled as another: the same honey in the same jar.

    Only the variety may differ, and is then asked about.
    """
    return (
        source != target
        and source.is_filled
        and target.is_filled
        and not target.is_unlabelled
        and (source.size_id, source.form) == (target.size_id, target.form)
    )


def variety_sentence(lot: Lot, source: Product, target: Product) -> str:
    """Ask whether jars may be sold under a variety that nothing says they are; else empty."""
    variety = target.variety
    if variety is None or target.variety_id == source.variety_id:
        return ""
    if variety.covers(lot.floral_source):
        return ""
    return _(
        "Lot %(lot)s has %(source)s honey, but the jars would be sold as %(variety)s. Choose "
        "another product, or tick that the label is right."
    ) % {"lot": lot.code, "source": lot.floral_source, "variety": variety.name}


def labels(uses: Iterable[tuple[UsedPart, int]], pieces: int) -> list[PartNeed]:
    """Return the labels that so many pieces of a product need, beside what is there."""
    return needs(
        [(use, there) for use, there in uses if use.part.kind == PackagingPart.Kind.LABEL],
        filled=pieces,
    )


def washable(product: Product, pieces: int) -> dict[PackagingPart, int]:
    """Return the parts that may be washed and used again, with the most that so many have."""
    return {
        use.part: use.used_by(filled=pieces)
        for use in product.uses()
        if use.part.kind != PackagingPart.Kind.LABEL
    }


def part_error(need: PartNeed, parameter: str) -> NotEnoughParts:
    return NotEnoughParts(
        _(
            "Not enough parts: %(needed)s of %(part)s needed. In the books: %(there)s. "
            "Missing: %(short)s. Receive the parts or correct the count first."
        )
        % {
            "needed": words.pieces(need.needed),
            "part": need.part.name,
            "there": words.pieces(need.there),
            "short": words.pieces(need.short),
        },
        parameter=parameter,
        short=need.short,
    )


def check_not_held(problems: Problems, parameter: str, lot: Lot) -> None:
    if lot.is_on_hold:
        problems.add_error(
            LotOnHold(
                _("Lot %(lot)s is on hold: %(reason)s Release it first.")
                % {"lot": lot.code, "reason": stock_rules.hold_sentence(lot)},
                parameter=parameter,
            )
        )


def check_ready(problems: Problems, parameter: str, lot: Lot) -> None:
    """Add a problem for creamed honey before its day."""
    if lot.ready_on is not None and lot.is_setting:
        problems.add(
            parameter,
            _("Lot %(lot)s is setting: it is ready from %(day)s. Choose another lot, or wait.")
            % {"lot": lot.code, "day": date_format(lot.ready_on)},
        )


def check_minutes(problems: Problems, parameter: str, minutes: int | None) -> None:
    if minutes is not None and not 0 <= minutes <= LABOUR_MINUTES_MAX:
        problems.add(
            parameter,
            _("Enter the minutes of work, from 0 to %(most)s.")
            % {"most": words.number(LABOUR_MINUTES_MAX)},
        )


def check_changed_on(problems: Problems, parameter: str, day: date | None, made_on: date) -> None:
    """Add a problem for a day that can't be, or before the jars were made."""
    checks.check_day(problems, parameter, day)
    if day is not None and day < made_on:
        problems.add(
            parameter,
            _("These jars were made on %(day)s. Choose that day or a later one.")
            % {"day": date_format(made_on)},
        )


def check_parts_back(
    problems: Problems,
    parameter: str,
    parts_back: Mapping[PackagingPart, int],
    most: Mapping[PackagingPart, int],
) -> None:
    for part, count in parts_back.items():
        if not 0 <= count <= most.get(part, 0):
            problems.add(
                parameter,
                _("%(part)s: enter how many go back to the stock, from 0 to %(most)s.")
                % {"part": part.name, "most": words.number(most.get(part, 0))},
            )


def excess_sentence(lot: Lot, pieces: int, grams: int) -> str:
    """Ask whether more honey came out of jars than went into them; else empty."""
    inside = lot.honey_in(pieces)
    if grams <= inside * (1 + EXCESS_ASKED):
        return ""
    came_out, went_in = words.weights_apart(grams, inside)
    return _(
        "%(grams)s came out of %(pieces)s, but only %(inside)s went into them. Check the figures, "
        "or tick that they are right."
    ) % {"grams": came_out, "pieces": words.pieces(pieces), "inside": went_in}


def room_sentence(product: Product, lot: Lot, pieces: int, grams: int) -> str:
    """Say that so many jars can't have had so much honey in them, filled to the brim; else empty.

    At 20 °C and the moisture of the lot, or the most that a lot may have.
    """
    moisture = MOISTURE_MAX if lot.moisture_percent is None else lot.moisture_percent
    room_ml = product.honey_size.brimful_ml * pieces
    if density.litres_of(grams, moisture_percent=moisture) * 1000 <= room_ml:
        return ""
    return ngettext(
        "%(pieces)s doesn't hold %(grams)s, not even filled to the brim. Check the figures.",
        "%(pieces)s don't hold %(grams)s, not even filled to the brim. Check the figures.",
        pieces,
    ) % {"pieces": words.pieces(pieces), "grams": words.weight(grams)}


def pieces_cents(lot: Lot, pieces: int) -> int | None:
    """Return what so many pieces of a lot cost; None while nobody can say."""
    if lot.cost_cents is None or lot.quantity_made <= 0:
        return None
    return share_cents(lot.cost_cents, pieces, lot.quantity_made)


def emptied_cents(unit: Fraction | None, grams: int, pieces_cents: int | None) -> int | None:
    """Return what the honey out of jars cost: its own cost, and never more than the jars did.

    What the jars cost beyond it, for parts, work and losses, is gone.
    """
    if unit is None:
        return None
    honey_cents = round(unit * grams)
    return honey_cents if pieces_cents is None else min(honey_cents, pieces_cents)


def sum_cents(*amounts: int | None) -> int | None:
    """Add amounts up; None while any of them is unknown."""
    known = [cents for cents in amounts if cents is not None]
    return sum(known) if len(known) == len(amounts) else None


def changed_cents(
    *, pieces_cents: Iterable[int | None], parts_cents: int | None, labour_cents: int | None
) -> int | None:
    """Return what a change made cost: its pieces, its parts, and the work where it was entered."""
    return sum_cents(*pieces_cents, parts_cents, labour_cents or 0)


def per_box(contents: Iterable[tuple[Product, int]], boxes: int) -> dict[Product, int]:
    """Return how many pieces of each product go into so many boxes."""
    return {product: quantity * boxes for product, quantity in contents}


def out_of_boxes(inside: Mapping[Lot, int], per_product: Mapping[int, int]) -> dict[Lot, int]:
    """Choose which pieces come out of boxes when nobody says: lot by lot, as they went in.

    `per_product` is how many of each product come out, by its key.
    """
    left = dict(per_product)
    chosen = {}
    for lot, there in inside.items():
        taken = min(there, left.get(lot.product_id or 0, 0))
        if taken:
            chosen[lot] = taken
            left[lot.product_id or 0] -= taken
    return chosen

"""What a run that was made comes to: which lot it drew, and its lines in the ledger.

Recording a run and correcting one share it.
"""

from datetime import date, datetime

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun
from inventory.bottling.rules import filling
from inventory.shared import checks, words
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.stock import rules
from inventory.stock.models import Item, Lot, Place
from inventory.stock.services import honey as bulk
from inventory.stock.services import ledger, lots

# Four weeks of one person's days and nights.
LABOUR_MINUTES_MAX = 28 * 24 * 60


def check_figures(
    pieces_filled: int,
    pieces_broken: int,
    drawn_grams: int | None,
    loss_grams: int,
    labour_minutes: int | None,
) -> None:
    """Raise what can't be the figures of any run; `drawn_grams` None is to be estimated."""
    problems = Problems()
    rules.check_pieces(problems, "pieces_filled", pieces_filled)
    if not 0 <= pieces_broken <= rules.PIECES_MAX:
        problems.add("pieces_broken", _("Enter how many broke, from 0 to a million."))
    if drawn_grams is not None:
        checks.check_grams(problems, "drawn_grams", drawn_grams)
    if loss_grams < 0:
        problems.add("loss_grams", _("The loss can't be below zero."))
    if labour_minutes is not None and not 0 <= labour_minutes <= LABOUR_MINUTES_MAX:
        problems.add(
            "labour_minutes",
            _("Enter the minutes of work, from 0 to %(most)s.")
            % {"most": words.number(LABOUR_MINUTES_MAX)},
        )
    problems.raise_any()


def lot_drawn(run: BottlingRun, bottled_on: date, moment: datetime | None) -> Lot:
    """Return the lot that a run drew: what was in the vessel that day, or last before.

    Where the books know of none, it is the planned one if it was there by then, or a lot unknown.
    """
    found = bulk.lot_drawn(run.source, moment)
    if found is not None:
        return found
    if run.lot is not None and rules.came_in_on(run.lot.origins()) <= bottled_on:
        return run.lot
    lot = lots.unknown(bottled_on)
    lots.save_unknown(lot)
    return lot


def owner_error(lot: Lot, added: Lot) -> NotAllowedNow:
    """Return the refusal of honey of two owners in one jar."""
    return NotAllowedNow(
        _("Lot %(one)s and lot %(other)s belong to different owners and can't go into one jar.")
        % {"one": lot.code, "other": added.code},
        parameter="drawn_grams",
    )


def honey(lot: Lot, source: Place, shares: filling.Shares) -> list[ledger.Line]:
    """Return the lines that carry what was drawn into the jars, to the loss and to the broken."""
    lines = []
    for kind, grams in (
        (Place.Kind.PACKING, shares.packed_grams),
        (Place.Kind.FILLING_LOSS, shares.loss_grams),
        (Place.Kind.BROKEN, shares.broken_grams),
    ):
        lines += ledger.move(
            item=Item.objects.honey(),
            lot=lot,
            source=source,
            target=Place.objects.outside(kind),
            quantity=grams,
        )
    return lines


def jars(packed: Lot, target: Place, pieces: int) -> list[ledger.Line]:
    """Return the lines that put the filled pieces on a shelf."""
    if packed.product is None:
        raise ValueError(f"{packed} is honey in bulk, not in jars.")
    return ledger.move(
        item=packed.product.item,
        lot=packed,
        source=Place.objects.outside(Place.Kind.PACKING),
        target=target,
        quantity=pieces,
    )

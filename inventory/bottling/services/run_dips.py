"""Dips read for a run, kept as readings of its vessel beside what the books said then."""

from decimal import Decimal
from typing import cast

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, RunDip
from inventory.shared import days, keys
from inventory.shared.errors import BadValue, parameters_named
from inventory.shared.people import Person
from inventory.stock.models import Lot
from inventory.stock.services import dips


def keep(
    *,
    run: BottlingRun,
    book_grams_before: int,
    before_mm: int | None,
    after_mm: int | None,
    celsius: Decimal | None,
    read_by: Person,
    key: str,
) -> list[RunDip]:
    """Keep the dips before and after a recorded run; each may be missing.

    `book_grams_before` is what the books had in the vessel before the run; after it they had what
    the run drew less. Called in the transaction that records the run. Raises `BadValue` for a dip
    that cannot be, or without a temperature.
    """
    if before_mm is None and after_mm is None:
        return []
    # A recorded run has both.
    lot, packed = cast(Lot, run.lot), cast(Lot, run.packed_lot)
    if celsius is None:
        raise BadValue(
            _("Enter the temperature: the weight can't be worked out from a dip without it."),
            parameter="celsius",
        )
    if lot.moisture_percent is None:
        raise BadValue(
            _(
                "The moisture of lot %(lot)s is not known, so a dip can't be turned into a weight. "
                "Leave the dips empty."
            )
            % {"lot": lot.code},
            parameter="before_mm" if after_mm is None else "after_mm",
        )
    moments = (
        (RunDip.Moment.BEFORE, "before_mm", before_mm, book_grams_before),
        (RunDip.Moment.AFTER, "after_mm", after_mm, book_grams_before - (run.drawn_grams or 0)),
    )
    kept = []
    for moment, parameter, depth_mm, book_grams in moments:
        if depth_mm is None:
            continue
        with parameters_named(depth_mm=parameter, place=parameter):
            reading = dips.keep(
                place=run.source,
                lot=lot,
                book_grams=book_grams,
                depth_mm=depth_mm,
                celsius=celsius,
                read_at=days.moment(packed.made_on),
                read_by=read_by,
                key=keys.part(key, f"dip-{moment}"),
            )
        kept.append(RunDip.objects.create(run=run, reading=reading, moment=moment))
    return kept

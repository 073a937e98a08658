"""Settling estimated honey: one dip or weight of a vessel says what its runs really drew."""

from datetime import date
from decimal import Decimal
from typing import cast

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import (
    BottlingRun,
    EstimateSettlement,
    SettledRun,
    found_before_grams,
)
from inventory.bottling.rules import estimates
from inventory.bottling.services import run_corrections
from inventory.shared import checks, keys, words
from inventory.shared.errors import BadValue, NotAllowedNow, Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Balance, DipReading, Item, Lot, Place, ProductionSettings
from inventory.stock.services import dips, ledger, moments


@transaction.atomic
def settle(
    *,
    source: Place,
    measured_on: date,
    settled_by: Person,
    key: str,
    depth_mm: int | None = None,
    celsius: Decimal | None = None,
    honey_grams: int | None = None,
    figures_are_right: bool = False,
) -> EstimateSettlement:
    """Settle the estimated runs of a vessel by what is in it at the end of a day.

    It is dipped to `depth_mm` at `celsius`, or `honey_grams` of honey are in it by the scale. What
    the books have too much or too little then, beyond what the first dip of a bottling day found,
    is what the runs up to that day drew more or less than estimated: each is corrected in
    proportion to its estimate. Runs that were measured stay. `figures_are_right` confirms far
    more or far less than estimated.
    Raises `BadValue`, `NotAllowedNow` when no run is estimated, and what `run_corrections.correct`
    raises.
    """
    problems = Problems()
    checks.check_day(problems, "measured_on", measured_on)
    if depth_mm is None and honey_grams is None:
        problems.add("depth_mm", _("Enter the depth or the weight of the honey that is left."))
    elif depth_mm is not None and honey_grams is not None:
        problems.add("honey_grams", _("Enter the depth or the weight, not both."))
    elif honey_grams:
        checks.check_grams(problems, "honey_grams", honey_grams)
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    refuse_repeat(EstimateSettlement, key, message=_("This was settled already."))
    runs = list(BottlingRun.objects.estimated(source, until=measured_on))
    if not runs:
        raise NotAllowedNow(
            _("No run from %(place)s up to %(day)s is estimated.")
            % {"place": source.name, "day": date_format(measured_on)}
        )
    book_grams = Balance.objects.grams_on(source, measured_on) + (found_before_grams(runs[0]))
    dip = None
    if depth_mm is not None:
        dip = _dip(runs[-1], measured_on, depth_mm, celsius, book_grams, settled_by, key)
    measured_grams = dip.grams if dip else honey_grams or 0
    estimated = [run.drawn_grams or 0 for run in runs]
    drawn = sum(estimated) + book_grams - measured_grams
    parameter = "depth_mm" if dip else "honey_grams"
    _check_drawn(drawn, sum(estimated), parameter, figures_are_right=figures_are_right)
    settlement = EstimateSettlement.objects.create(
        source=source,
        measured_on=measured_on,
        dip=dip,
        measured_grams=measured_grams,
        book_grams=book_grams,
        settled_by=settled_by,
        idempotency_key=key,
    )
    shares = estimates.share_grams(drawn, estimated)
    for run, before, share in zip(runs, estimated, shares, strict=True):
        SettledRun.objects.create(
            settlement=settlement, run=run, estimated_grams=before, drawn_grams=share
        )
        with parameters_named(drawn_grams=parameter):
            run_corrections.correct(
                run=run,
                recorded_by=settled_by,
                key=keys.part(key, run.number),
                reason=_("The honey drawn was estimated, and is settled by what was left."),
                drawn_grams=share,
                drawn_by=BottlingRun.DrawnBy.DIP if dip else BottlingRun.DrawnBy.SCALE,
                figures_are_right=figures_are_right,
            )
    return settlement


def _dip(
    run: BottlingRun,
    read_on: date,
    depth_mm: int,
    celsius: Decimal | None,
    book_grams: int,
    read_by: Person,
    key: str,
) -> DipReading:
    if celsius is None:
        celsius = ProductionSettings.current().honey_house_celsius
    return dips.keep(
        place=run.source,
        # A recorded run has its honey.
        lot=cast(Lot, run.lot),
        book_grams=book_grams,
        depth_mm=depth_mm,
        celsius=celsius,
        read_at=moments.of_draw(read_on, run.source) or timezone.now(),
        read_by=read_by,
        key=keys.part(key, "dip"),
        note=_("Estimated runs settled"),
    )


def _check_drawn(drawn: int, estimated: int, parameter: str, *, figures_are_right: bool) -> None:
    """Refuse that no honey was drawn, and ask about far more or less than was estimated."""
    told, before = words.weights_apart(max(0, drawn), estimated)
    if drawn <= 0:
        raise BadValue(
            _(
                "So much honey is left that the runs would have drawn no honey. Check the figure, "
                "and whether honey that went in is missing in the books."
            ),
            parameter=parameter,
        )
    if estimates.is_far_off(drawn, estimated) and not figures_are_right:
        raise BadValue(
            _(
                "The runs would have drawn %(drawn)s, but %(estimated)s were estimated. That is "
                "over a quarter apart. Check the figure, or tick that it is right."
            )
            % {"drawn": told, "estimated": before},
            parameter="figures_are_right",
        )

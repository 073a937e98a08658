"""Bottling days: a sheet for a vessel and a day, kept half filled, then recorded in one act."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import cast

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingDay, BottlingDayRow, BottlingRun, Product
from inventory.bottling.rules import estimates
from inventory.bottling.services import additions, packed_codes, runs
from inventory.shared import checks, keys
from inventory.shared.errors import (
    BadValue,
    HouseError,
    NotAllowedNow,
    Problems,
    parameters_named,
)
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import dip_weights, lot_codes, rules
from inventory.stock.models import (
    Balance,
    DipReading,
    Item,
    Lot,
    Place,
    Posting,
    ProductionSettings,
)
from inventory.stock.services import dips, honey, ledger, moments

# More products than any house fills on one day.
ROWS_MAX = 30
# What the acts on one run call a figure, and where the sheet has it, where that differs.
IN_A_ROW = {
    "pieces": "pieces_filled",
    "drawn_grams": "pieces_filled",
    "comb": "product",
    "seed_source": "product",
    "without_labels": "product",
}
OF_A_ROW = {
    "product",
    "pieces_filled",
    "pieces_broken",
    "labour_minutes",
    "lot_code",
    "lot_code_is_right",
    "variety_is_right",
    "figures_are_right",
}


@dataclass(frozen=True)
class RowFilled:
    """One row of the sheet: a product, and what was filled of it as far as it is known yet.

    Without a code it gets the next one by the house's pattern. The confirmations are those of
    `runs.plan` and `runs.record`.
    """

    product: Product
    pieces_filled: int | None = None
    pieces_broken: int = 0
    labour_minutes: int | None = None
    lot_code: str = ""
    lot_code_is_right: bool = False
    variety_is_right: bool = False
    figures_are_right: bool = False


@transaction.atomic
def save(
    *,
    source: Place,
    bottled_on: date,
    rows: Sequence[RowFilled],
    saved_by: Person,
    target: Place | None = None,
    celsius: Decimal | None = None,
    before_mm: int | None = None,
    after_mm: int | None = None,
    before_grams: int | None = None,
    after_grams: int | None = None,
    skimmed_grams: int = 0,
    note: str = "",
    version: int | None = None,
) -> BottlingDay:
    """Keep the sheet of a vessel and a day as far as it is filled in; no stock moves.

    Each row gets its lot code now, so that it can be stamped; a run that is planned for that day
    and vessel gives its own. The dip before is kept as a dip at once, with the books of its
    moment. `version` is the one that was looked at, 0 for none: a sheet that somebody else has
    saved since is refused.
    Raises `BadValue`, and `NotAllowedNow` for a sheet that was changed since.
    """
    _check_sheet(
        source=source,
        bottled_on=bottled_on,
        rows=rows,
        target=target,
        before_mm=before_mm,
        after_mm=after_mm,
        before_grams=before_grams,
        after_grams=after_grams,
        skimmed_grams=skimmed_grams,
    )
    ledger.lock_items([Item.objects.honey()])
    sheets = BottlingDay.objects.filter(source=source, bottled_on=bottled_on)
    day = sheets.filter(status=BottlingDay.Status.DRAFT).first()
    if day is None and version and sheets.exists():
        raise NotAllowedNow(_("This bottling day was recorded already."))
    day = day or BottlingDay(source=source, bottled_on=bottled_on)
    if version is not None and day.version != version and day.saved_by_id != saved_by.pk:
        raise NotAllowedNow(
            _(
                "%(person)s has saved the sheet of %(place)s for %(day)s in the meantime. Open it "
                "again from the list of bottling days, and add your figures there."
            )
            % {
                "person": day.saved_by.display_name if day.pk else _("Somebody"),
                "place": source.name,
                "day": date_format(bottled_on),
            }
        )
    was_dipped_to = (day.before_mm, day.celsius) if day.dip_before_id else None
    day.target, day.note = target, note.strip()
    day.celsius = ProductionSettings.current().honey_house_celsius if celsius is None else celsius
    day.before_mm, day.after_mm = before_mm, after_mm
    day.before_grams, day.after_grams = before_grams, after_grams
    day.skimmed_grams = skimmed_grams
    day.version += 1
    day.saved_by = saved_by
    _keep_first_reading(day, was_dipped_to)
    checks.save_checked(day)
    _keep_rows(day, rows)
    return day


@transaction.atomic
def record(
    *,
    source: Place,
    bottled_on: date,
    rows: Sequence[RowFilled],
    target: Place,
    recorded_by: Person,
    key: str,
    celsius: Decimal | None = None,
    before_mm: int | None = None,
    after_mm: int | None = None,
    before_grams: int | None = None,
    after_grams: int | None = None,
    skimmed_grams: int = 0,
    note: str = "",
    version: int | None = None,
    moisture_is_right: bool = False,
) -> BottlingDay:
    """Record all that a vessel filled on a day: a run for each row with pieces, or no run at all.

    A run that is planned for that day and vessel is recorded, with its code; for the other rows
    one is planned first. Foam and skimmings are written off. What the vessel lost between the two
    dips or weights, less the skimmings and what other entries took since the first, is shared out
    over the rows by what their pieces say; with one dip after, what the books had counts as
    before; without one, the runs are estimated. What stayed in the filler went back into the
    vessel, so no run has a loss. `moisture_is_right` confirms honey above the house's own limit of
    moisture, once for all rows.

    Raises what `save`, `runs.plan` and `runs.record` raise, for a row as `rows.<position>.…`.
    """
    _lock(source, bottled_on, rows)
    refuse_repeat(BottlingDay, key, message=_("This bottling day was recorded already."))
    day = save(
        source=source,
        bottled_on=bottled_on,
        rows=rows,
        saved_by=recorded_by,
        target=target,
        celsius=celsius,
        before_mm=before_mm,
        after_mm=after_mm,
        before_grams=before_grams,
        after_grams=after_grams,
        skimmed_grams=skimmed_grams,
        note=note,
        version=version,
    )
    filled = {index: row for index, row in enumerate(rows) if row.pieces_filled}
    _check_filled(day, rows, filled)
    # The rows of a recorded sheet no longer keep their codes from the runs that get them now.
    day.status, day.idempotency_key = BottlingDay.Status.RECORDED, key
    checks.save_checked(day)
    of_day = dict(enumerate(day.rows.select_related("run", "product__item")))
    lot = _lot_drawn(day)
    _skim(day, recorded_by, key)
    problems = Problems()
    planned: dict[int, BottlingRun] = {}
    for index, row in filled.items():
        with _problems_of_row(problems, index):
            planned[index] = of_day[index].run or _plan(
                day, row, of_day[index], recorded_by, key, moisture_is_right=moisture_is_right
            )
            planned[index].celsius = day.celsius
    problems.raise_any()
    weights = [
        additions.estimated_drawn(
            run,
            pieces_filled=filled[index].pieces_filled or 0,
            pieces_broken=filled[index].pieces_broken,
        )
        for index, run in planned.items()
    ]
    drawn = _drawn_grams(day)
    shares: Sequence[int | None] = [None] * len(weights)
    if drawn is not None:
        shares = estimates.share_grams(drawn, weights)
    for (index, run), share in zip(planned.items(), shares, strict=True):
        with _problems_of_row(problems, index):
            made = _record(day, run, filled[index], share, recorded_by, keys.part(key, index))
            of_day[index].run, of_day[index].lot_code = made, made.lot_code
            checks.save_checked(of_day[index])
    problems.raise_any()
    if day.after_mm is not None:
        with parameters_named(depth_mm="after_mm", place="source"):
            day.dip_after = _dip(day, day.after_mm, recorded_by, keys.part(key, "after"), lot)
    BottlingDayRow.objects.filter(day=day, run=None).delete()
    checks.save_checked(day)
    return day


def _lock(source: Place, bottled_on: date, rows: Sequence[RowFilled]) -> None:
    """Lock all that the runs of a day may touch, at once."""
    items = [Item.objects.honey()]
    for row in rows:
        items += [row.product.item, *(use.part.item for use in row.product.uses())]
    for run in _planned(source, bottled_on):
        items += additions.items_of(run)
    ledger.lock_items(items)


def _planned(source: Place, bottled_on: date) -> list[BottlingRun]:
    """Return the runs that are planned for the day and the vessel."""
    planned = BottlingRun.objects.filter(
        source=source, planned_for=bottled_on, status=BottlingRun.Status.PLANNED
    )
    return list(planned.order_by("id"))


@transaction.atomic
def drop(*, day: BottlingDay) -> None:
    """Throw a sheet away that was not recorded; its dip before stays among the dips.

    Raises `NotAllowedNow` when it was recorded.
    """
    day = BottlingDay.objects.select_for_update().get(pk=day.pk)
    if day.is_recorded:
        raise NotAllowedNow(_("This bottling day was recorded already."))
    day.delete()


def _check_sheet(
    *,
    source: Place,
    bottled_on: date,
    rows: Sequence[RowFilled],
    target: Place | None,
    before_mm: int | None,
    after_mm: int | None,
    before_grams: int | None,
    after_grams: int | None,
    skimmed_grams: int,
) -> None:
    problems = Problems()
    rules.check_vessel(problems, "source", source)
    checks.check_day(problems, "bottled_on", bottled_on)
    if target is not None:
        rules.check_store(problems, "target", target)
    if len(rows) > ROWS_MAX:
        problems.add("rows", _("A sheet has at most %(most)s rows.") % {"most": ROWS_MAX})
    for index, row in enumerate(rows):
        _check_row(problems, index, row)
    for parameter, grams in (("before_grams", before_grams), ("after_grams", after_grams)):
        if grams:
            checks.check_grams(problems, parameter, grams)
    if skimmed_grams:
        checks.check_grams(problems, "skimmed_grams", skimmed_grams)
    if before_grams is not None and before_mm is not None:
        problems.add("before_grams", _("Enter the dips or the weights, not both."))
    elif after_grams is not None and after_mm is not None:
        problems.add("after_grams", _("Enter the dips or the weights, not both."))
    elif after_grams is not None and before_grams is None:
        problems.add("before_grams", _("Enter the weight before too."))
    problems.raise_any()


def _check_row(problems: Problems, index: int, row: RowFilled) -> None:
    if row.pieces_filled is not None:
        rules.check_pieces(problems, f"rows.{index}.pieces_filled", row.pieces_filled)
    if not 0 <= row.pieces_broken <= rules.PIECES_MAX:
        problems.add(f"rows.{index}.pieces_broken", _("Enter how many broke, from 0 to a million."))
    if code := row.lot_code.strip():
        lot_codes.check_code(problems, f"rows.{index}.lot_code", code)


def _check_filled(
    day: BottlingDay, rows: Sequence[RowFilled], filled: dict[int, RowFilled]
) -> None:
    problems = Problems()
    if not filled:
        problems.add("rows", _("Enter the pieces filled of one product or more."))
    for index, row in enumerate(rows):
        if index not in filled and (row.pieces_broken or row.labour_minutes):
            problems.add(
                f"rows.{index}.pieces_filled", _("Enter how many were filled, or empty the row.")
            )
    if day.before_grams is not None and day.after_grams is None:
        problems.add("after_grams", _("Enter the weight after too, or leave both empty."))
    problems.raise_any()


def _keep_first_reading(
    day: BottlingDay, was_dipped_to: tuple[int | None, Decimal | None] | None
) -> None:
    """Keep the dip or the weight before with the books of the moment when it was first entered."""
    old = day.dip_before
    was_of = old.lot if old else None
    if was_dipped_to and was_dipped_to != (day.before_mm, day.celsius) and old:
        day.dip_before = None
        if day.pk:
            BottlingDay.objects.filter(pk=day.pk).update(dip_before=None)
        dips.remove(reading=old)
    if day.before_mm is None and day.before_grams is None:
        day.book_grams_before = None
        return
    if day.book_grams_before is None:
        day.book_grams_before = _book_grams(day)
    if day.before_mm is not None and day.dip_before is None:
        key = keys.part(f"bottling-day-{day.source_id}-{day.bottled_on}-{day.version}", day.pk)
        with parameters_named(depth_mm="before_mm", place="source"):
            day.dip_before = _dip(
                day, day.before_mm, day.saved_by, key, was_of, day.book_grams_before
            )


def _dip(
    day: BottlingDay,
    depth_mm: int,
    read_by: Person,
    key: str,
    lot: Lot | None,
    book_grams: int | None = None,
) -> DipReading:
    return dips.keep(
        place=day.source,
        lot=lot or _lot(day),
        book_grams=_book_grams(day) if book_grams is None else book_grams,
        depth_mm=depth_mm,
        celsius=_celsius(day),
        read_at=moments.of_draw(day.bottled_on, day.source) or timezone.now(),
        read_by=read_by,
        key=key,
        note=_("Bottling day"),
    )


def _keep_rows(day: BottlingDay, rows: Sequence[RowFilled]) -> None:
    """Write the rows anew, each with the run that is planned for it or with a code of its own."""
    day.rows.all().delete()
    in_vessel = _lot_drawn(day)
    planned = _planned(day.source, day.bottled_on)
    problems = Problems()
    for index, row in enumerate(rows):
        run = next((run for run in planned if run.product_id == row.product.pk), None)
        code = row.lot_code.strip()
        if run:
            planned.remove(run)
            if code and code != run.lot_code:
                problems.add(
                    f"rows.{index}.lot_code",
                    _(
                        "Run %(number)s of that day is planned with lot %(code)s, which may be "
                        "on jars already. Keep that code, or cancel the run first."
                    )
                    % {"number": run.number, "code": run.lot_code},
                )
            code = run.lot_code
        elif taken := packed_codes.taken_error(
            code, row.product, parameter=f"rows.{index}.lot_code"
        ):
            problems.add_error(taken)
        elif not code:
            code = packed_codes.next_code(row.product, day.bottled_on, honey=in_vessel)
        with _problems_of_row(problems, index):
            checks.save_checked(
                BottlingDayRow(
                    day=day,
                    product=row.product,
                    pieces_filled=row.pieces_filled,
                    pieces_broken=row.pieces_broken,
                    labour_minutes=row.labour_minutes,
                    lot_code=code,
                    run=run,
                )
            )
    problems.raise_any()


def _plan(
    day: BottlingDay,
    row: RowFilled,
    of_day: BottlingDayRow,
    planned_by: Person,
    key: str,
    *,
    moisture_is_right: bool,
) -> BottlingRun:
    return runs.plan(
        product=row.product,
        source=day.source,
        target=cast(Place, day.target),
        pieces=row.pieces_filled or 0,
        planned_for=day.bottled_on,
        planned_by=planned_by,
        key=keys.part(key, f"plan-{of_day.pk}"),
        celsius=day.celsius,
        lot_code=of_day.lot_code,
        lot_code_is_right=row.lot_code_is_right,
        variety_is_right=row.variety_is_right,
        moisture_is_right=moisture_is_right,
        is_filled=True,
    )


def _record(
    day: BottlingDay,
    run: BottlingRun,
    row: RowFilled,
    drawn_grams: int | None,
    recorded_by: Person,
    key: str,
) -> BottlingRun:
    by_weight = day.after_grams is not None
    return runs.record(
        run=run,
        pieces_filled=row.pieces_filled or 0,
        pieces_broken=row.pieces_broken,
        drawn_grams=drawn_grams,
        drawn_by=BottlingRun.DrawnBy.SCALE if by_weight else BottlingRun.DrawnBy.DIP,
        loss_grams=0,
        labour_minutes=row.labour_minutes,
        celsius=day.celsius,
        recorded_by=recorded_by,
        key=key,
        target=day.target,
        bottled_on=day.bottled_on,
        figures_are_right=row.figures_are_right,
        note=day.note,
    )


def _skim(day: BottlingDay, recorded_by: Person, key: str) -> None:
    """Write off foam and skimmings, to the outside place of their own."""
    if not day.skimmed_grams:
        return
    with parameters_named(grams="skimmed_grams", place="source", written_off_on="bottled_on"):
        day.skimming = honey.write_off(
            place=day.source,
            grams=day.skimmed_grams,
            reason=Posting.Kind.SKIMMING,
            recorded_by=recorded_by,
            key=keys.part(key, "skimmings"),
            note=_("Bottling day"),
            written_off_on=day.bottled_on,
        )


def _drawn_grams(day: BottlingDay) -> int | None:
    """Return what all rows together drew, by dips or weights; None where nobody measured it.

    Call it with the skimmings written off and no run recorded: the books then have what would be
    left without the runs. The difference that the first reading had to the books is not theirs.
    """
    before, after, parameter = day.before_grams, day.after_grams, "after_grams"
    if day.after_mm is not None:
        parameter = "after_mm"
        before = day.dip_before.grams if day.dip_before else None
        lot = day.dip_before.lot if day.dip_before else _lot(day)
        with parameters_named(depth_mm="after_mm"):
            try:
                weighed = dip_weights.of_depth(
                    day.source,
                    day.after_mm,
                    moisture_percent=lot.honey_moisture,
                    celsius=_celsius(day),
                    mark_mm=ProductionSettings.current().stick_mark_mm,
                )
            except ValueError as error:
                raise BadValue(str(error), parameter="celsius") from error
        after = weighed.grams
    if after is None:
        return None
    expected = _book_grams(day)
    if before is not None:
        expected += before - (day.book_grams_before or 0)
    if after >= expected:
        raise BadValue(
            _(
                "The dip after the run is not lower than the dip before it, so no honey "
                "was drawn. Check both dips."
            )
            if parameter == "after_mm"
            else _("The vessel is not lighter than before, so no honey was drawn. Check both."),
            parameter=parameter,
        )
    return expected - after


def _lot(day: BottlingDay) -> Lot:
    """Return the honey that a dip is of; raises `BadValue` where the vessel never had any."""
    lot = _lot_drawn(day)
    if lot is None:
        raise BadValue(
            _("%(place)s is empty on the books. Receive the honey first.")
            % {"place": day.source.name},
            parameter="source",
        )
    return lot


def _lot_drawn(day: BottlingDay) -> Lot | None:
    return honey.lot_drawn(day.source, moments.of_draw(day.bottled_on, day.source))


def _celsius(day: BottlingDay) -> Decimal:
    usual = ProductionSettings.current().honey_house_celsius
    return usual if day.celsius is None else day.celsius


def _book_grams(day: BottlingDay) -> int:
    return Balance.objects.grams_on(day.source, day.bottled_on)


@contextmanager
def _problems_of_row(problems: Problems, index: int) -> Iterator[None]:
    """Collect what is refused about a row, and name it by row and field; go on with the next."""
    try:
        with transaction.atomic():
            yield
    except HouseError as error:
        for problem in error.problems:
            name = IN_A_ROW.get(problem.parameter or "", problem.parameter)
            if name == "moisture_is_right" and name in problems:
                # The honey is the same in every row, so it is asked about once.
                continue
            if name in OF_A_ROW:
                problem.parameter = f"rows.{index}.{name}"
            elif name not in ("celsius", "bottled_on", "target", "source", "moisture_is_right"):
                problem.parameter = f"rows.{index}"
            problems.add_error(problem)

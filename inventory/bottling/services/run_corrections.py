"""A recorded run that was written down wrong is put right, with both states kept."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.bottling.models import (
    BottlingRun,
    Creaming,
    PackagingPart,
    RunComb,
    RunCorrection,
)
from inventory.bottling.part_costs import heaps_of
from inventory.bottling.rules import costs as cost_rules
from inventory.bottling.rules import filling, forms_of_honey
from inventory.bottling.rules import parts as part_rules
from inventory.bottling.rules.forms_of_honey import Addition
from inventory.bottling.services import additions, costs, run_lines, used_parts
from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules
from inventory.stock.models import Item, Lot, Place, Posting, ProductionSettings
from inventory.stock.services import ledger, lot_corrections, moments, stores

# What of a run is kept when it is corrected.
KEPT = (
    "pieces_filled",
    "pieces_broken",
    "drawn_grams",
    "drawn_by",
    "added_grams",
    "loss_grams",
    "labour_minutes",
    "honey_cents",
    "parts_cents",
    "labour_cents",
)
# Minutes may be taken off again, so that None is a figure.
UNCHANGED: Any = object()


@transaction.atomic
def correct(
    *,
    run: BottlingRun,
    recorded_by: Person,
    key: str,
    reason: str,
    pieces_filled: int | None = None,
    pieces_broken: int | None = None,
    drawn_grams: int | None = None,
    drawn_by: str | None = None,
    loss_grams: int | None = None,
    labour_minutes: int | None = UNCHANGED,
    bottled_on: date | None = None,
    parts: Mapping[PackagingPart, int] | None = None,
    seed_grams: int | None = None,
    comb_quantity: int | None = None,
    figures_are_right: bool = False,
) -> BottlingRun:
    """Put the figures of a recorded run right; only the difference is posted.

    What is None stays as it is. The parts follow the pieces, but for those of which `parts` says
    how many were really used. The jars may have moved or been sold: the cost of the lot and of all
    made of it is worked out again, its code and its best-by date stay as they are printed. Both
    states stay readable (`RunCorrection`). Raises `BadValue` without a reason or for figures that
    can't be, `NotEnoughStock` for fewer pieces than have left, `NotAllowedNow` for a run that is
    not recorded or where nothing differs, `AlreadyRecorded`.
    """
    run = BottlingRun.objects.select_for_update().get(pk=run.pk)
    ledger.lock_items(
        [
            Item.objects.honey(),
            run.product.item,
            *(use.part.item for use in run.product.uses()),
            *(part.item for part in parts or {}),
            *additions.items_of(run),
        ]
    )
    refuse_repeat(RunCorrection, key, made=run)
    posting, packed = _recorded(run)
    filled = _or(pieces_filled, run.pieces_filled or 0)
    broken = _or(pieces_broken, run.pieces_broken)
    drawn = _or(drawn_grams, run.drawn_grams or 0)
    loss = _or(loss_grams, run.loss_grams)
    minutes = run.labour_minutes if labour_minutes is UNCHANGED else labour_minutes
    run_lines.check_figures(filled, broken, drawn, loss, minutes)
    problems = Problems()
    checks.check_day(problems, "bottled_on", bottled_on)
    if not reason.strip():
        problems.add("reason", _("Say what was wrong."))
    for part, count in (parts or {}).items():
        if not 0 <= count <= rules.PIECES_MAX:
            problems.add("parts", _("%(part)s: enter how many were used.") % {"part": part.name})
    problems.raise_any()
    was_on = packed.made_on
    day = bottled_on or was_on
    moment = None
    if day != was_on:
        moment = moments.of_draw(day, run.source) or timezone.now()
    old_lot = _lot_of(run)
    lot = run_lines.lot_drawn(run, day, moment) if moment else old_lot
    old_addition = _addition(run, old_lot, run.drawn_grams or 0, 0, None, None)
    parents_were = _parents(run, old_lot, old_addition, *_counts(run))
    addition = _addition(run, lot, drawn, filled + broken, seed_grams, comb_quantity)
    shares, liquid, added = _shares(run, drawn, loss, filled, broken, addition)
    if sentence := forms_of_honey.impossible_sentence(run.size, liquid, added, filled, addition):
        raise BadValue(sentence, parameter="drawn_grams")
    beyond = filling.beyond_brim(
        run.size,
        shares,
        filled,
        moisture_percent=lot.moisture_percent,
        celsius=run.celsius,
    )
    asked = forms_of_honey.odd_figures(
        run.size,
        shares,
        addition,
        pieces_filled=filled,
        pieces_broken=broken,
        beyond_brim=beyond,
    )
    if asked and not figures_are_right:
        raise BadValue(" ".join(asked), parameter="figures_are_right")
    if beyond:
        loss += beyond
        shares, liquid, added = _shares(run, drawn, loss, filled, broken, addition)
    target = _shelf(posting, packed)
    lines = run_lines.honey(lot, run.source, liquid)
    if addition:
        lines += additions.lines(addition, added, pieces_filled=filled, pieces_broken=broken)
    used_before = _used_before(posting)
    used = _parts_used(run, used_before, filled, broken, parts)
    lines += _part_lines(posting, used, target)
    lines += run_lines.jars(packed, target, filled)
    before, lot_before = _figures(run), {packed.pk: lot_corrections.figures(packed)}
    with stores.refused_at("pieces_filled"):
        made = ledger.correct(
            posting=posting,
            lines=lines,
            recorded_by=recorded_by,
            key=key,
            note=_("Run %(number)s: %(reason)s") % {"number": run.number, "reason": reason.strip()},
            occurred_at=moment,
            may_not_lack=[run.product.item],
        )
    run.refresh_from_db()
    packed.refresh_from_db()
    run.posting = made or posting
    run.pieces_filled, run.pieces_broken = filled, broken
    run.drawn_grams, run.drawn_by, run.loss_grams = drawn, drawn_by or run.drawn_by, loss
    if minutes != run.labour_minutes:
        run.labour_minutes = minutes
        run.labour_cents = cost_rules.labour_cents(
            minutes, cents_per_hour=ProductionSettings.current().labour_cents_per_hour
        )
    run.lot = lot
    run.parts_cents = _parts_cents(run.parts_cents, used_before, used)
    run.honey_cents = cost_rules.drawn_cents(lot, drawn, addition)
    if addition:
        additions.keep_taken(run, addition)
    checks.save_checked(run)
    parents_are = _parents(run, lot, addition, drawn, loss, filled, broken)
    lot_corrections.change_parents(
        packed.pk,
        {
            parent: parents_are.get(parent, 0) - parents_were.get(parent, 0)
            for parent in parents_are.keys() | parents_were.keys()
        },
    )
    packed.quantity_made += filled - (before["pieces_filled"] or 0)
    packed.made_on = day
    checks.save_checked(packed)
    costs.work_out_again([packed])
    # The posting made with this key: the correction, or the run on its other day.
    correction = ledger.find(key)
    lot_corrections.work_out_again(
        lot_before, posting=correction, person=recorded_by, reason=reason.strip()
    )
    run.refresh_from_db()
    after = _figures(run)
    before["bottled_on"], after["bottled_on"] = str(was_on), str(day)
    before["parts"], after["parts"] = _parts_in_words(used_before), _parts_in_words(used)
    if before == after:
        raise NotAllowedNow(_("Nothing is different from what was recorded. Change what is wrong."))
    RunCorrection.objects.create(
        run=run,
        posting=correction,
        before={name: before[name] for name in before if before[name] != after[name]},
        after={name: after[name] for name in after if before[name] != after[name]},
        reason=reason.strip(),
        corrected_by=recorded_by,
        idempotency_key=key,
    )
    return run


def _counts(run: BottlingRun) -> tuple[int, int, int, int]:
    return run.drawn_grams or 0, run.loss_grams, run.pieces_filled or 0, run.pieces_broken


def _shares(
    run: BottlingRun, drawn: int, loss: int, filled: int, broken: int, addition: Addition | None
) -> tuple[filling.Shares, filling.Shares, filling.Shares]:
    """Return where all the honey went, then that of the vessel, then what went in beside it."""
    shares = filling.share_out(
        run.size,
        drawn_grams=drawn + (addition.grams if addition else 0),
        loss_grams=loss,
        pieces_broken=broken,
    )
    liquid, added = forms_of_honey.split(
        shares, addition, pieces_filled=filled, pieces_broken=broken
    )
    return shares, liquid, added


def _parents(
    run: BottlingRun,
    lot: Lot,
    addition: Addition | None,
    drawn: int,
    loss: int,
    filled: int,
    broken: int,
) -> dict[int, int]:
    """Return the grams of each lot that a run brought into its jars."""
    _all, liquid, added = _shares(run, drawn, loss, filled, broken, addition)
    return {
        parent.pk: grams for parent, grams in forms_of_honey.parents(lot, liquid, addition, added)
    }


def _recorded(run: BottlingRun) -> tuple[Posting, Lot]:
    packed = run.packed_lot
    if run.status != BottlingRun.Status.RECORDED or not run.posting or packed is None:
        raise NotAllowedNow(
            _("Run %(number)s is %(status)s. Only a recorded run can be corrected.")
            % {"number": run.number, "status": run.get_status_display()}
        )
    return run.posting, Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=packed.pk)


def _lot_of(run: BottlingRun) -> Lot:
    if run.lot is None:
        raise ValueError(f"Run {run} is recorded without a lot.")
    return run.lot


def _or(given: int | None, known: int) -> int:
    return known if given is None else given


def _figures(run: BottlingRun) -> dict[str, Any]:
    return {name: getattr(run, name) for name in KEPT}


def _addition(
    run: BottlingRun,
    lot: Lot,
    drawn: int,
    pieces: int,
    seed_grams: int | None,
    comb_quantity: int | None,
) -> Addition | None:
    """Return what went in beside the honey: as recorded, but for what is said anew."""
    creaming = Creaming.objects.filter(run=run).first()
    comb = RunComb.objects.filter(run=run).first()
    addition = additions.taken(
        run,
        drawn_grams=drawn,
        pieces=pieces,
        seed_grams=creaming.seed_grams if creaming and seed_grams is None else seed_grams,
        comb_quantity=comb.quantity if comb and comb_quantity is None else comb_quantity,
    )
    if addition and lot.owner_id != addition.lot.owner_id:
        raise run_lines.owner_error(lot, addition.lot)
    return addition


def _shelf(posting: Posting, packed: Lot) -> Place:
    """Return where the run put its jars."""
    line = (
        posting.lines.filter(lot=packed, quantity__gt=0, place__kind__in=Place.STORES)
        .select_related("place")
        .get()
    )
    return line.place


def _used_before(posting: Posting) -> dict[PackagingPart, int]:
    """Return how many of each part the run used until now."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    used = {
        line.item.pk: line.quantity
        for line in ledger.effective_lines(posting)
        if line.item.kind == Item.Kind.PART and line.place == packing
    }
    found = PackagingPart.objects.filter(item__in=list(used)).select_related("item")
    return {part: used[part.item_id] for part in found}


def _parts_used(
    run: BottlingRun,
    before: Mapping[PackagingPart, int],
    filled: int,
    broken: int,
    said: Mapping[PackagingPart, int] | None,
) -> dict[PackagingPart, int]:
    """Return how many of each part the run used, by what is said, else by the pieces."""
    used = dict(before)
    if (filled, broken) != (run.pieces_filled, run.pieces_broken):
        needs = part_rules.needs(run.product.uses_with_stock(), filled=filled, broken=broken)
        used |= {need.part: need.needed for need in needs}
    return used | dict(said or {})


def _parts_in_words(used: Mapping[PackagingPart, int]) -> list[list[Any]]:
    """Return the parts as a correction keeps them: names with how many."""
    return sorted([part.name, count] for part, count in used.items() if count)


def _part_lines(
    posting: Posting, used: Mapping[PackagingPart, int], target: Place
) -> list[ledger.Line]:
    """Return the lines of the parts: from where they were taken, and what is more from any shelf.

    What the books lacked counts as taken where it was short.
    """
    packing = Place.objects.outside(Place.Kind.PACKING)
    taken: dict[int, dict[Place, int]] = {}
    for line in ledger.effective_lines(posting):
        if line.item.kind == Item.Kind.PART and line.quantity < 0:
            place = target if line.place.kind == Place.Kind.TO_SETTLE else line.place
            at = taken.setdefault(line.item.pk, {})
            at[place] = at.get(place, 0) - line.quantity
    lines, more = [], []
    for part, wanted in used.items():
        for place, count in taken.get(part.item_id, {}).items():
            portion = min(wanted, count)
            lines += ledger.move(
                item=part.item, lot=None, source=place, target=packing, quantity=portion
            )
            wanted -= portion
        more.append((part, wanted))
    return lines + used_parts.lines_used(more, at=None, short_at=target)


def _parts_cents(
    cents: int | None, before: Mapping[PackagingPart, int], now: Mapping[PackagingPart, int]
) -> int | None:
    """Return what the parts cost: as recorded, with what is more or less at the average cost."""
    if cents is None:
        return None
    heaps = heaps_of(before.keys() | now.keys())
    for part in before.keys() | now.keys():
        change = now.get(part, 0) - before.get(part, 0)
        if not change:
            continue
        unit_cents = heaps[part.pk].unit_cents
        if unit_cents is None:
            return None
        cents += round(unit_cents * change)
    return max(cents, 0)

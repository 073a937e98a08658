"""Blend plans: drafted, changed, carried out in one posting, or dropped."""

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import checks, series
from inventory.shared.errors import BadValue, LotOnHold, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules
from inventory.stock.blends import BlendLimits
from inventory.stock.models import Balance, BlendPlan, BlendPlanLine, Item, Place, Posting
from inventory.stock.services import honey, ledger, moments, numbers

# More vessels than are ever poured together.
VESSELS_MAX = 60

# Each vessel with its grams.
Sources = Sequence[tuple[Place, int]]


@transaction.atomic
def draft(
    *,
    target: Place,
    sources: Sources,
    limits: BlendLimits,
    planned_by: Person,
    key: str,
    buyer: str = "",
    note: str = "",
) -> BlendPlan:
    """Keep a blend as a draft; no honey leaves the books, none is reserved.

    What is in the target already is part of the blend. The weights need not keep the limits: the
    plan says where they do not. Raises as `honey.blend`, and also `LotOnHold` and `NotAllowedNow`
    for honey on hold or of another beekeeper, wherever it would be poured, and `BadValue`.
    """
    problems = Problems()
    _check_limits(problems, limits)
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    refuse_repeat(BlendPlan, key)
    _check_sources(sources, target)
    in_target = Balance.objects.in_vessel(target)
    plan = BlendPlan(
        number=_next_number(),
        target=target,
        target_lot=in_target.lot if in_target else None,
        grams_min=limits.grams_min,
        grams_max=limits.grams_max,
        colour_mm_min=limits.colour_mm_min,
        colour_mm_max=limits.colour_mm_max,
        moisture_percent_min=limits.moisture_percent_min,
        moisture_percent_max=limits.moisture_percent_max,
        buyer=buyer.strip(),
        note=note.strip(),
        planned_by=planned_by,
        idempotency_key=key,
    )
    checks.save_checked(plan)
    _set_lines(plan, sources)
    return plan


@transaction.atomic
def change(*, plan: BlendPlan, sources: Sources) -> BlendPlan:
    """Give a draft other weights, or other vessels, in place of those it had.

    What is in each vessel and in the target now is what the plan counts with from then on. Raises
    as `draft`, and `NotAllowedNow` when the plan is no draft any more.
    """
    plan = _locked(plan)
    if plan.status != BlendPlan.Status.DRAFT:
        raise _no_draft(plan)
    ledger.lock_items([Item.objects.honey()])
    _check_sources(sources, plan.target)
    in_target = Balance.objects.in_vessel(plan.target)
    plan.target_lot = in_target.lot if in_target else None
    checks.save_checked(plan)
    plan.lines.all().delete()
    _set_lines(plan, sources)
    return plan


@transaction.atomic
def carry_out(
    *,
    plan: BlendPlan,
    carried_out_by: Person,
    key: str,
    sources: Sources | None = None,
    poured_on: date | None = None,
    note: str = "",
) -> Posting:
    """Pour what the plan says in one posting, and return it.

    `sources` are the weights that were really poured, by vessel of the plan; a vessel that is not
    among them was left out. Without them the weights of the plan count, and without `poured_on` it
    happens now. Raises `NotAllowedNow` when the plan was carried out or dropped, or when other
    honey is in a vessel than was planned with; `BadValue` for a vessel that is not in the plan; and
    whatever `honey.blend` refuses.
    """
    plan = _locked(plan)
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    if not plan.is_open:
        raise _no_draft(plan)
    lines = {line.place: line for line in plan.lines.select_related("place", "lot")}
    if sources is None:
        sources = [(place, line.grams) for place, line in lines.items()]
    moment = moments.of_draw(poured_on, *(place for place, _grams in sources))
    in_target = Balance.objects.in_vessel(plan.target, moment)
    _check_planned_honey(plan, sources, lines, in_target, moment)
    posting = honey.blend(
        sources=sources,
        target=plan.target,
        recorded_by=carried_out_by,
        key=key,
        note=note.strip() or _("Blend plan %(number)s") % {"number": plan.number},
        poured_on=poured_on,
    )
    poured = dict(sources)
    for place, line in lines.items():
        line.poured_grams = poured.get(place, 0)
        checks.save_checked(line)
    plan.status, plan.posting = BlendPlan.Status.CARRIED_OUT, posting
    plan.target_grams = in_target.quantity if in_target else 0
    _end(plan, carried_out_by)
    return posting


@transaction.atomic
def drop(*, plan: BlendPlan, dropped_by: Person, reason: str = "") -> BlendPlan:
    """Drop a draft. Raises `NotAllowedNow` when it was carried out or dropped before."""
    plan = _locked(plan)
    if plan.status != BlendPlan.Status.DRAFT:
        raise _no_draft(plan)
    plan.status = BlendPlan.Status.DROPPED
    plan.note = reason.strip() or plan.note
    _end(plan, dropped_by)
    return plan


def _end(plan: BlendPlan, ended_by: Person) -> None:
    plan.ended_at, plan.ended_by = timezone.now(), ended_by
    checks.save_checked(plan)


def _locked(plan: BlendPlan) -> BlendPlan:
    return BlendPlan.objects.select_for_update(of=("self",)).get(pk=plan.pk)


def _no_draft(plan: BlendPlan) -> NotAllowedNow:
    return NotAllowedNow(
        _("Blend plan %(number)s is no draft any more: it was %(state)s.")
        % {"number": plan.number, "state": plan.get_status_display()}
    )


def _check_limits(problems: Problems, limits: BlendLimits) -> None:
    checks.check_grams(problems, "limits", limits.grams_min)
    for low, high in (
        (limits.grams_min, limits.grams_max),
        (limits.colour_mm_min, limits.colour_mm_max),
        (limits.moisture_percent_min, limits.moisture_percent_max),
    ):
        if low is not None and high is not None and low > high:
            problems.add("limits", _("“At least” is more than “at most”. Check the figures."))


def _check_sources(sources: Sources, target: Place) -> None:
    """Raise where these could not be poured now, or are not the house's own free honey."""
    if len(sources) > VESSELS_MAX:
        raise BadValue(
            _("That is more than %(most)s vessels. Plan a smaller blend.") % {"most": VESSELS_MAX},
            parameter="sources",
        )
    for index, (place, _grams) in enumerate([*sources, (target, 0)]):
        parameter = "target" if place == target else f"sources.{index}.place"
        there = Balance.objects.in_vessel(place)
        if there is None:
            continue
        if there.honey_lot.is_on_hold:
            raise LotOnHold(
                _("Lot %(lot)s is on hold and can't be mixed with other honey: %(reason)s")
                % {"lot": there.honey_lot.code, "reason": rules.hold_reason(there.honey_lot)},
                parameter=parameter,
            )
        if there.honey_lot.owner:
            raise NotAllowedNow(
                _(
                    "Honey of %(owner)s can't be mixed with your own. Choose another vessel, or "
                    "buy the honey of %(owner)s first."
                )
                % {"owner": there.honey_lot.owner},
                parameter=parameter,
            )
    honey.preview_blend(sources=sources, target=target)


def _set_lines(plan: BlendPlan, sources: Sources) -> None:
    for place, grams in sources:
        there = Balance.objects.in_vessel(place)
        if there is not None:
            checks.save_checked(
                BlendPlanLine(plan=plan, place=place, lot=there.honey_lot, grams=grams)
            )


def _check_planned_honey(
    plan: BlendPlan,
    sources: Sources,
    lines: dict[Place, BlendPlanLine],
    in_target: Balance | None,
    moment: datetime | None,
) -> None:
    """Raise where a vessel is not in the plan, or had other honey than the plan counted with."""
    for index, (place, _grams) in enumerate(sources):
        line = lines.get(place)
        if line is None:
            raise BadValue(
                _("%(place)s is not in blend plan %(number)s.")
                % {"place": place.name, "number": plan.number},
                parameter=f"sources.{index}.place",
            )
        there = Balance.objects.in_vessel(place, moment)
        if there is not None and there.lot_id != line.lot_id:
            raise _other_honey(place, f"sources.{index}.place")
    if (in_target.lot_id if in_target else None) != plan.target_lot_id:
        raise _other_honey(plan.target, "target")


def _other_honey(place: Place, parameter: str) -> NotAllowedNow:
    return NotAllowedNow(
        _(
            "%(place)s has other honey than when the blend was planned. Change the weights of the "
            "plan, and check the colour and moisture again. If it was poured already, enter it "
            "under Honey, Blend."
        )
        % {"place": place.name},
        parameter=parameter,
    )


def _next_number() -> str:
    year = timezone.localdate().year
    number = numbers.next_number(f"blend-plan-{year}")
    return f"{series.BLEND_PLANS}{year % 100:02d}-{number:02d}"

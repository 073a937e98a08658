"""Honey that came in and was written down wrong is put right, with both states kept."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.bottling.services import costs
from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock import rules
from inventory.stock.models import Item, Lot, LotParent, Measurement, Place, Posting
from inventory.stock.models.measurements import OWN_FIGURES
from inventory.stock.services import honey, ledger, lot_corrections, lots, moments, retelling


@transaction.atomic
def correct(
    *,
    lot: Lot,
    recorded_by: Person,
    key: str,
    reason: str,
    grams: int | None = None,
    grams_by_vessel: Mapping[Place, int] | None = None,
    came_in_on: date | None = None,
    moisture_percent: Decimal | None = None,
    colour_mm: Decimal | None = None,
    floral_source: str | None = None,
    yard: str | None = None,
    season: int | None = None,
    cost_cents: int | None = None,
) -> Lot:
    """Put right what was entered of honey that came in; only the difference is posted.

    What is None stays. The weight is `grams` where it came into one vessel, else by vessel. What
    was poured, filled and bottled of it since is told again; blends and jars take the new figures
    and the new cost, and the old ones stay readable (`LotCorrection`). Raises `BadValue` without a
    reason or for figures that can't be, `NotAllowedNow` for a lot that did not come in from
    outside or was undone, `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    refuse_repeat(Posting, key, made=lot)
    lot = Lot.objects.select_for_update(of=("self",), no_key=True).get(pk=lot.pk)
    posting = receipt_of(lot)
    wanted = _grams_wanted(posting, grams, grams_by_vessel)
    _check(lot, reason, wanted, came_in_on, moisture_percent, floral_source, season, colour_mm)
    before = {each.pk: lot_corrections.figures(each) for each in [lot, *_blends_made(posting, lot)]}
    if came_in_on is not None and came_in_on != lot.made_on:
        _move(lot, posting, wanted, came_in_on, recorded_by, key, reason)
        _refuse_used_before(lot, came_in_on)
    else:
        _weigh_anew(lot, posting, wanted, recorded_by, key, reason)
    lot.refresh_from_db()
    lot.quantity_made = sum(wanted.values())
    _set_facts(lot, came_in_on, floral_source, yard, season)
    _set_measured(lot, moisture_percent, colour_mm, recorded_by)
    checks.save_checked(lot)
    if cost_cents is not None and cost_cents != lot.cost_cents:
        costs.set_lot_cost(lot=lot, cost_cents=cost_cents)
    made = Lot.objects.filter(pk__in=before)
    costs.work_out_again(each for each in made if each.pk != lot.pk or cost_cents is None)
    lot_corrections.work_out_again(
        before, posting=ledger.find(key), person=recorded_by, reason=reason.strip()
    )
    costs.work_out_again(Lot.objects.filter(pk=lot.pk))
    lot.refresh_from_db()
    return lot


def receipt_of(lot: Lot) -> Posting:
    """Return the posting by which a lot came in; raises `NotAllowedNow` where there is none."""
    found = (
        Posting.objects.filter(
            kind__in=rules.CAME_FROM, lines__lot=lot, lines__quantity__lt=0, reversed_by=None
        )
        .filter(lines__place__kind__in=rules.CAME_FROM.values())
        .order_by("-id")
        .first()
    )
    if (
        found is None
        # It was corrected to another day, and undone there.
        or not ledger.effective_lines(found)
        or not rules.has_own_origin(lot)
        or lot.parent_links.exists()
    ):
        raise NotAllowedNow(
            _("Lot %(lot)s did not come in from outside, or that entry was undone.")
            % {"lot": lot.code}
        )
    return found


def grams_by_vessel(posting: Posting) -> dict[Place, int]:
    """Return how much came into each vessel, with what was corrected since."""
    nets: dict[Place, int] = {}
    for line in ledger.effective_lines(posting):
        if line.place.is_vessel:
            nets[line.place] = nets.get(line.place, 0) + line.quantity
    return {place: net for place, net in nets.items() if net}


def _grams_wanted(
    posting: Posting, grams: int | None, said: Mapping[Place, int] | None
) -> dict[Place, int]:
    known = grams_by_vessel(posting)
    if said is not None:
        if strange := [place.name for place in said if place not in known]:
            raise BadValue(
                _("This honey did not come into %(place)s.") % {"place": strange[0]},
                parameter="grams_by_vessel",
            )
        return {**known, **said}
    if grams is None:
        return known
    if len(known) != 1:
        raise BadValue(
            _("This honey came in several vessels. Enter the weight of each."), parameter="grams"
        )
    return dict.fromkeys(known, grams)


def _check(
    lot: Lot,
    reason: str,
    wanted: Mapping[Place, int],
    came_in_on: date | None,
    moisture_percent: Decimal | None,
    floral_source: str | None,
    season: int | None,
    colour_mm: Decimal | None,
) -> None:
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say what was wrong."))
    for net in wanted.values():
        checks.check_grams(problems, "grams", net)
    checks.check_day(problems, "came_in_on", came_in_on)
    if moisture_percent is not None:
        try:
            lots.moisture_known(moisture_percent)
        except BadValue as error:
            problems.add_error(error)
    lots.check_facts(
        problems,
        floral_source=lot.floral_source if floral_source is None else floral_source,
        season=lot.season if season is None else season,
        colour_mm=colour_mm,
    )
    problems.raise_any()


def _blends_made(posting: Posting, lot: Lot) -> list[Lot]:
    """Return the blends that this honey made where it was poured to other honey."""
    keys = {
        line.lot.pk
        for line in ledger.effective_lines(posting)
        if line.place.is_vessel and line.quantity > 0 and line.lot and line.lot != lot
    }
    return list(Lot.objects.filter(pk__in=keys))


def _weigh_anew(
    lot: Lot,
    posting: Posting,
    wanted: Mapping[Place, int],
    recorded_by: Person,
    key: str,
    reason: str,
) -> None:
    honey_item = Item.objects.honey()
    lines = ledger.effective_lines(posting)
    source = Place.objects.outside(rules.CAME_FROM[posting.kind])
    more: list[ledger.Line] = []
    for place, net in grams_by_vessel(posting).items():
        change = wanted[place] - net
        [there] = [line.lot for line in lines if line.place == place and line.quantity > 0]
        more += [
            ledger.Line(honey_item, source, lot, -change),
            ledger.Line(honey_item, place, there, change),
        ]
        if change and there and there != lot:
            lot_corrections.change_parents(there.pk, {lot.pk: change})
            links = LotParent.objects.filter(lot=there)
            there.quantity_made = sum(links.values_list("grams", flat=True))
            there.save(update_fields=["quantity_made"])
    ledger.correct(
        posting=posting,
        lines=[*lines, *more],
        recorded_by=recorded_by,
        key=key,
        note=_note(lot, reason),
    )


def _move(
    lot: Lot,
    posting: Posting,
    wanted: Mapping[Place, int],
    day: date,
    recorded_by: Person,
    key: str,
    reason: str,
) -> None:
    source = Place.objects.outside(rules.CAME_FROM[posting.kind])
    # Not None for today: what is in the vessel is worked out when the old lines are gone.
    at = moments.of_arrival(day, *wanted) or timezone.now()
    blends = _blends_made(posting, lot)

    def lines() -> list[ledger.Line]:
        return [
            line
            for place, net in wanted.items()
            for line in honey.pour(target=place, portions=[lots.Portion(lot, net, source)], at=at)
        ]

    ledger.correct(
        posting=posting,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=_note(lot, reason),
        occurred_at=at,
    )
    kept = set(retelling.with_lines(blend.pk for blend in blends))
    for blend in blends:
        if blend.pk not in kept:
            # It has come to nothing: this honey met none in the vessel on its right day.
            LotParent.objects.filter(lot=blend).delete()
            blend.quantity_made = 0
            blend.save(update_fields=["quantity_made"])


def _refuse_used_before(lot: Lot, day: date) -> None:
    """Raise where jars or blends are still said to be made of honey before it came in."""
    made = LotParent.objects.filter(parent=lot, grams__gt=0, lot__made_on__lt=day)
    early = (
        # A blend that this honey no longer makes has come to nothing.
        made.filter(lot__in=retelling.with_lines(made.values_list("lot", flat=True)))
        .select_related("lot")
        .order_by("lot__made_on", "lot")
        .first()
    )
    if early is not None:
        raise BadValue(
            _(
                "Lot %(made)s was made of lot %(lot)s on %(made_on)s, so lot %(lot)s can't have "
                "come in after that. Choose that day or an earlier one. If lot %(made)s is of "
                "other honey, undo it first, correct this, and record it again."
            )
            % {"made": early.lot.code, "lot": lot.code, "made_on": date_format(early.lot.made_on)},
            parameter="came_in_on",
        )


def _note(lot: Lot, reason: str) -> str:
    return _("Lot %(lot)s: %(reason)s") % {"lot": lot.code, "reason": reason.strip()}


def _set_facts(
    lot: Lot,
    came_in_on: date | None,
    floral_source: str | None,
    yard: str | None,
    season: int | None,
) -> None:
    lot.made_on = came_in_on or lot.made_on
    if floral_source is not None:
        lot.floral_source = floral_source.strip()
    if yard is not None:
        lot.yard = yard.strip()
    lot.season = season or lot.season


def _set_measured(
    lot: Lot, moisture_percent: Decimal | None, colour_mm: Decimal | None, person: Person
) -> None:
    """Let the figures that came with the lot be others; the wrong ones stay, as removed.

    What was measured again later counts as before.
    """
    for what, value in (
        (Measurement.What.MOISTURE, moisture_percent),
        (Measurement.What.COLOUR, colour_mm),
    ):
        own, at_first = OWN_FIGURES[what]
        name = at_first if Measurement.objects.again(lot, what).exists() else own
        if value is None or value == getattr(lot, name):
            continue
        wrong = lot.measurements.filter(what=what, idempotency_key=None, removed_at=None).first()
        if wrong is not None:
            wrong.removed_at, wrong.removed_by = timezone.now(), person
            checks.save_checked(wrong)
        checks.save_checked(
            Measurement(
                lot=lot,
                what=what,
                value=value,
                method=wrong.method if wrong else Measurement.Method.NOT_RECORDED,
                measured_on=wrong.measured_on if wrong else lot.made_on,
                recorded_by=person,
            )
        )
        setattr(lot, name, value)
        if what == Measurement.What.MOISTURE:
            # The index that was read belongs to the wrong figure.
            lot.refractive_index = lot.refractometer_celsius = None

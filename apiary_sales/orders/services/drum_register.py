"""Drums that are out: brought back into use, found damaged, or given up for lost."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.orders.models import (
    DrumReturn,
    Fulfilment,
    FulfilmentLine,
    Order,
    OrderEvent,
    ReturnedDrum,
)
from apiary_sales.orders.rules.lines import vessel_of
from apiary_sales.orders.services import orders
from inventory.shared import checks, keys
from inventory.shared.errors import Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Place
from inventory.stock.services import drums as scales
from inventory.stock.services import places

# Their orders are locked together, for a moment.
CLOSED_AT_ONCE = 50


@transaction.atomic
def take_back(
    *,
    outings: Sequence[FulfilmentLine],
    received_by: Person,
    key: str,
    outcome: str = DrumReturn.Outcome.EMPTY,
    returned_on: date | None = None,
    tares: Mapping[int, int] | None = None,
    note: str = "",
) -> DrumReturn:
    """Record drums that came back, whichever orders they went with, or that are lost.

    `outings` are the lines with which they went out. Drums that came back empty are in use again;
    damaged and lost ones stay out of use. `tares` is what some weigh empty now, by the key of
    their line; it becomes their own empty weight. A drum that was lost may still come back.
    Raises `BadValue` for a drum that is not out, a day before it went, or an impossible tare at
    `tares.<key>`, and `AlreadyRecorded`.
    """
    for order in sorted({line.fulfilment.order_id for line in outings}):
        orders.lock(Order(pk=order))
    refuse_repeat(DrumReturn, key)
    returned_on = returned_on or timezone.localdate()
    problems = Problems()
    if outcome not in DrumReturn.Outcome.values:
        problems.add("outcome", _("Choose one from the list."))
    checks.check_day(problems, "returned_on", returned_on)
    is_lost = outcome == DrumReturn.Outcome.LOST
    if not outings:
        problems.add("drums", _("Choose the drums that came back."))
    out = _out([line.pk for line in outings], is_lost=is_lost)
    for line in outings:
        _check_is_out(problems, line, out, returned_on)
    problems.raise_any()
    made = DrumReturn.objects.create(
        outcome=outcome,
        returned_on=returned_on,
        note=note.strip(),
        recorded_by=received_by,
        idempotency_key=key,
    )
    tares = {} if is_lost else tares or {}
    for line in out.values():
        tare = tares.get(line.pk)
        if tare is not None:
            with parameters_named(tare_grams=f"tares.{line.pk}", drum="drums"):
                scales.keep_tare(drum=vessel_of(line.order_line), tare_grams=tare)
        ReturnedDrum.objects.create(
            drum_return=made, fulfilment_line=line, is_lost=is_lost, tare_grams=tare
        )
    if outcome == DrumReturn.Outcome.EMPTY:
        places.take_back(vessel_of(line.order_line) for line in out.values())
    _note_on_orders(out.values(), made)
    return made


def outings_of(order: Order, drums: Iterable[Place]) -> list[FulfilmentLine]:
    """Return the lines with which these drums went out with an order and are still out.

    Raises `BadValue` for a drum that did not go out with it or is back already.
    """
    drums = list(drums)
    went = {
        vessel_of(line.order_line): line
        for line in FulfilmentLine.objects.outings()
        .filter(fulfilment__order=order)
        .select_related("order_line__drum", "fulfilment")
    }
    still = set(
        FulfilmentLine.objects.still_out()
        .filter(fulfilment__order=order)
        .values_list("pk", flat=True)
    )
    problems = Problems()
    if not drums:
        problems.add("drums", _("Choose the drums that came back."))
    for drum in drums:
        if drum not in went:
            problems.add(
                "drums",
                _("%(drum)s did not go out with order %(order)s.")
                % {"drum": drum.name, "order": order.number},
            )
        elif went[drum].pk not in still:
            problems.add("drums", _("%(drum)s is back already.") % {"drum": drum.name})
    problems.raise_any()
    return [went[drum] for drum in drums]


def close_settled() -> None:
    """Note the hand-overs of which every drum is back and every deposit credited; done at night.

    Nobody reads of those any more who asks which drums are out now.
    """
    settled = Fulfilment.objects.filter(drums_are_open=True).done_with_drums()
    found = list(settled.order_by("order", "pk").values_list("order", "pk"))
    while some := found[:CLOSED_AT_ONCE]:
        del found[:CLOSED_AT_ONCE]
        with transaction.atomic():
            for order in sorted({order for order, _pk in some}):
                orders.lock(Order(pk=order))
            # Seen again with the orders locked: a drum may have got a charge meanwhile.
            settled.filter(pk__in=[pk for _order, pk in some]).update(drums_are_open=False)


def _out(keys_of_lines: list[int], *, is_lost: bool) -> dict[int, FulfilmentLine]:
    """Return those of these lines whose drums are out; lost ones may come back, not be lost."""
    out = FulfilmentLine.objects.outings().filter(pk__in=keys_of_lines)
    back = ReturnedDrum.objects.filter(fulfilment_line__in=keys_of_lines)
    if not is_lost:
        back = back.filter(is_lost=False)
    rows = out.exclude(pk__in=back.values("fulfilment_line")).select_related(
        "order_line__drum", "fulfilment__order__customer"
    )
    return {line.pk: line for line in rows}


def _check_is_out(
    problems: Problems, line: FulfilmentLine, out: Mapping[int, FulfilmentLine], day: date
) -> None:
    drum = vessel_of(line.order_line)
    if line.pk not in out:
        problems.add("drums", _("%(drum)s is back already.") % {"drum": drum.name})
    elif day < line.fulfilment.filled_on:
        problems.add(
            "returned_on",
            _("%(drum)s went out on %(day)s. Choose that day or a later one.")
            % {"drum": drum.name, "day": date_format(line.fulfilment.filled_on)},
        )


def _note_on_orders(lines: Iterable[FulfilmentLine], made: DrumReturn) -> None:
    """Write on each order which of its drums are back, or lost."""
    names: dict[Order, list[str]] = {}
    for line in lines:
        names.setdefault(line.fulfilment.order, []).append(vessel_of(line.order_line).name)
    for order, drums in names.items():
        said = ", ".join(drums)
        if made.outcome != DrumReturn.Outcome.EMPTY:
            said = f"{said}: {made.get_outcome_display()}"
        orders.note_event(
            order,
            OrderEvent.Kind.DRUMS_BACK,
            by=made.recorded_by,
            key=keys.part(made.idempotency_key, f"order-{order.pk}"),
            note=said,
        )

"""Delivery rounds: planned with their stops in order, changed, and each stop handed over."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.orders.models import Fulfilment, Order
from apiary_sales.orders.services import consignments, orders
from apiary_sales.orders.trade_models import ConsignmentDelivery, DeliveryRound, RoundStop
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import numbers

# More stops than one vehicle makes in a day.
STOPS_MAX = 100

# What is brought at a stop.
Brought = Order | ConsignmentDelivery


@transaction.atomic
def plan(
    *,
    day: date,
    vehicle: str,
    stops: Sequence[Brought],
    created_by: Person,
    key: str,
    driver: str = "",
    note: str = "",
) -> DeliveryRound:
    """Plan a round with its stops in this order, and return it.

    Raises `BadValue`, a stop's at `stops.<position>`, and `AlreadyRecorded`.
    """
    refuse_repeat(DeliveryRound, key)
    problems = Problems()
    orders.check_not_far(problems, "day", day)
    _check(problems, vehicle, stops, round=None)
    problems.raise_any()
    year = day.year % 100
    made = DeliveryRound.objects.create(
        number=f"DR{year:02d}-{numbers.next_number(f'round-{year}'):04d}",
        day=day,
        vehicle=vehicle.strip(),
        driver=driver.strip(),
        note=note.strip(),
        created_by=created_by,
        idempotency_key=key,
    )
    _write_stops(made, stops, first=1)
    return made


@transaction.atomic
def change(
    *,
    round: DeliveryRound,
    day: date,
    vehicle: str,
    stops: Sequence[Brought],
    driver: str = "",
    note: str = "",
) -> DeliveryRound:
    """Change a round and the stops that are not delivered yet; those that are stay, first.

    Raises `BadValue`, a stop's at `stops.<position>`.
    """
    round = DeliveryRound.objects.select_for_update(no_key=True).get(pk=round.pk)
    problems = Problems()
    orders.check_not_far(problems, "day", day)
    _check(problems, vehicle, stops, round=round)
    problems.raise_any()
    round.day, round.vehicle = day, vehicle.strip()
    round.driver, round.note = driver.strip(), note.strip()
    round.save()
    round.stops.filter(delivered_at=None).delete()
    _write_stops(round, stops, first=round.stops.count() + 1)
    return round


@transaction.atomic
def deliver(
    *, stop: RoundStop, delivered_by: Person, key: str, delivered_on: date | None = None
) -> RoundStop:
    """Hand over all that is left of the order of a stop, or carry its goods to the shop's shelf.

    Raises what `orders.fulfil` and `consignments.deliver` raise, `NotAllowedNow` for a stop that is
    delivered, `AlreadyRecorded`.
    """
    RoundStop.objects.select_for_update(no_key=True).get(pk=stop.pk)
    stop = RoundStop.objects.select_related("round", "order", "delivery__shelf").get(pk=stop.pk)
    refuse_repeat(Fulfilment, key, made=stop)
    if stop.delivered_at is not None:
        raise NotAllowedNow(_("This stop is delivered already."))
    if stop.delivery is not None:
        consignments.deliver(
            delivery=stop.delivery, delivered_by=delivered_by, delivered_on=delivered_on, key=key
        )
    elif stop.order is not None:
        stop.fulfilment = orders.fulfil(
            order=stop.order, filled_by=delivered_by, filled_on=delivered_on, key=key
        )
    stop.delivered_at, stop.delivered_by = timezone.now(), delivered_by
    stop.save(update_fields=["fulfilment", "delivered_at", "delivered_by"])
    return stop


def _check(
    problems: Problems, vehicle: str, stops: Sequence[Brought], *, round: DeliveryRound | None
) -> None:
    if not vehicle.strip():
        problems.add("vehicle", _("Enter which vehicle drives."))
    is_begun = round is not None and round.stops.exclude(delivered_at=None).exists()
    if not stops and not is_begun:
        problems.add("stops", _("Choose at least one order or delivery."))
    elif len(stops) > STOPS_MAX:
        problems.add("stops", _("A round can have up to 100 stops. Make two rounds."))
    waiting = RoundStop.objects.filter(delivered_at=None)
    if round is not None:
        waiting = waiting.exclude(round=round)
    elsewhere = {
        (stop.order_id, stop.delivery_id): stop.round.number
        for stop in waiting.select_related("round")
    }
    seen: set[tuple[int | None, int | None]] = set()
    for index, each in enumerate(stops):
        key, name = _key(each), f"stops.{index}"
        figures = {"what": each.number, "round": elsewhere.get(key, "")}
        if key in seen:
            problems.add(name, _("%(what)s is on the list twice. Remove one.") % figures)
        elif not _is_waiting(each):
            problems.add(name, _("%(what)s has no goods left to hand over.") % figures)
        elif key in elsewhere:
            problems.add(name, _("%(what)s is on round %(round)s already.") % figures)
        seen.add(key)


def _is_waiting(each: Brought) -> bool:
    if isinstance(each, Order):
        return each.status in Order.OPEN_STATUSES
    return each.status == ConsignmentDelivery.Status.PLANNED


def _key(each: Brought) -> tuple[int | None, int | None]:
    return (each.pk, None) if isinstance(each, Order) else (None, each.pk)


def _write_stops(round: DeliveryRound, stops: Sequence[Brought], *, first: int) -> None:
    RoundStop.objects.bulk_create(
        RoundStop(
            round=round,
            position=position,
            order=each if isinstance(each, Order) else None,
            delivery=each if isinstance(each, ConsignmentDelivery) else None,
        )
        for position, each in enumerate(stops, first)
    )

"""Packed goods and parts: moved between shelves, counted, and written off."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial

from django.db import transaction
from django.db.models import DateField, F, IntegerField, Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import checks, days
from inventory.shared.errors import NotEnoughStock, Problems, StockReserved
from inventory.shared.people import Person
from inventory.shared.prepared import Given, PreparedQueryAmong
from inventory.stock import own_places, rules
from inventory.stock.counting import CountChange
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.services import ledger, shortages, surpluses
from inventory.stock.services.feeding import refuse_to_feed
from inventory.stock.services.honey import WRITE_OFF_PLACES, refuse_to_use

# So many lots on hold are named in a refusal.
HELD_TOLD = 3
NOTE_LENGTH_MAX = 300
# Foam is skimmed off honey in a tank, and neither candles nor lids are spilled or fed to bees.
ONLY_IN_BULK = (Posting.Kind.SKIMMING,)
ONLY_HONEY = (Posting.Kind.SPILL, Posting.Kind.FEEDING)


@transaction.atomic
def transfer(
    *,
    item: Item,
    lot: Lot | None,
    source: Place,
    target: Place,
    pieces: int,
    recorded_by: Person,
    key: str,
    note: str = "",
    carried_on: date | None = None,
) -> Posting:
    """Carry pieces from one shelf, stand or van to another, now or on that day.

    The shelf of a shop that sells on consignment is one of them. Who has business at stand and van
    alone carries to one of these, or from it.

    `pieces` are grams for goods by weight, here and in the acts below.
    """
    problems = Problems()
    rules.check_quantity(problems, "pieces", item, pieces)
    rules.check_for_goods(problems, "target", target)
    if not own_places.is_own(recorded_by, source):
        own_places.check(problems, "target", target, recorded_by)
    if source == target:
        problems.add("target", _("Choose another place than the one they are in."))
    checks.check_day(problems, "carried_on", carried_on)
    problems.raise_any()
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    with refused_at("pieces"):
        return ledger.post(
            kind=Posting.Kind.TRANSFER,
            lines=ledger.move(item=item, lot=lot, source=source, target=target, quantity=pieces),
            recorded_by=recorded_by,
            key=key,
            note=note,
            occurred_at=days.moment(carried_on),
        )


@transaction.atomic
def write_off(
    *,
    item: Item,
    lot: Lot | None,
    place: Place,
    pieces: int,
    reason: str,
    recorded_by: Person,
    key: str,
    note: str = "",
    written_off_on: date | None = None,
    may_be_fed: bool = False,
) -> Posting:
    """Take pieces off the books for a reason of `WRITE_OFF_PLACES`; only honey is fed or spilled.

    Without `written_off_on` it happens now; `may_be_fed` as for `honey.write_off`.
    """
    problems = Problems()
    own_places.check(problems, "place", place, recorded_by)
    rules.check_quantity(problems, "pieces", item, pieces)
    if reason not in WRITE_OFF_PLACES:
        problems.add("reason", _("Choose why they are gone."))
    elif reason in ONLY_IN_BULK or (reason in ONLY_HONEY and item.kind != Item.Kind.PACKED):
        problems.add("reason", _("This reason is for honey. Choose another one."))
    checks.check_day(problems, "written_off_on", written_off_on)
    problems.raise_any()
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    refuse_to_use(lot, reason)
    refuse_to_feed(lot, reason, may_be_fed=may_be_fed)
    with refused_at("pieces"):
        return ledger.post(
            kind=reason,
            lines=ledger.move(
                item=item,
                lot=lot,
                source=place,
                target=Place.objects.outside(WRITE_OFF_PLACES[reason]),
                quantity=pieces,
            ),
            recorded_by=recorded_by,
            key=key,
            note=note,
            occurred_at=days.moment(written_off_on),
        )


@transaction.atomic
def count(
    *,
    item: Item,
    lot: Lot | None,
    place: Place,
    counted: int,
    reason: str,
    recorded_by: Person,
    key: str,
    surplus_reason: str = "",
    counted_on: date | None = None,
) -> Posting | None:
    """Bring the books to what was counted, now or that day; return the posting, or None when they
    agree.

    `surplus_reason` says why there are more of a lot than were made of it and have not left; it is
    noted with the reason. Raises `BadValue` for a count below zero or without a reason,
    `StockReserved` when fewer are left than are promised.
    """
    problems = Problems()
    own_places.check(problems, "place", place, recorded_by)
    if counted != 0 and item.is_weighed:
        checks.check_grams(problems, "counted", counted)
    elif not 0 <= counted <= rules.PIECES_MAX:
        problems.add("counted", _("Enter how many you counted, from 0 to a million."))
    if not reason.strip():
        problems.add("reason", _("Enter a reason for changing the books to match the count."))
    note = " ".join(part for part in (reason.strip(), surplus_reason.strip()) if part)
    if len(note) > NOTE_LENGTH_MAX:
        problems.add("reason", _("That is too long. Say it in fewer words."))
    checks.check_day(problems, "counted_on", counted_on)
    problems.raise_any()
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    difference = counted - _in_books(item, place, lot, counted_on)
    moment = days.moment(counted_on)
    settle = partial(
        shortages.settle_counted,
        item=item,
        place=place,
        lot=lot,
        settled_by=recorded_by,
        key=key,
        occurred_at=moment,
    )
    if difference == 0:
        settle()
        return None
    surplus = surpluses.found([CountChange(place, item, lot, difference)])
    if not surplus_reason.strip():
        surpluses.ask_why(problems, surplus, "surplus_reason")
    problems.raise_any()
    with refused_at("counted"):
        posting = ledger.post(
            kind=Posting.Kind.COUNT,
            lines=ledger.move(
                item=item,
                lot=lot,
                source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
                target=place,
                quantity=difference,
            ),
            recorded_by=recorded_by,
            key=key,
            note=note,
            occurred_at=moment,
        )
    settle()
    return posting


def _in_books(item: Item, place: Place, lot: Lot | None, day: date | None) -> int:
    """Return what the books have at a place, now or at noon of an earlier day."""
    moment = days.past_moment(day)
    if moment is None:
        balance = Balance.objects.filter(item=item, place=place, lot=lot).first()
        return balance.quantity if balance else 0
    state = Balance.objects.at(item, moment, places=[place.pk])
    return state.get((place.pk, lot.pk if lot else 0), 0)


@contextmanager
def refused_at(parameter: str) -> Iterator[None]:
    """Give what the ledger refuses the parameter it was typed in."""
    try:
        yield
    except (NotEnoughStock, StockReserved) as error:
        error.parameter = parameter
        raise


def free_at(item: Item, places: list[Place]) -> list[Balance]:
    """Return the balances of an item free for sale at these places, oldest lot first.

    Lots on hold, honey that is still setting and what belongs to others are left out. Call with
    the item locked.
    """
    there = _FOR_SALE_AT.rows(
        [place.pk for place in places], item=item.pk, today=timezone.localdate()
    )
    return [balance for balance in there if balance.free > 0]


_FOR_SALE_AT = PreparedQueryAmong(
    lambda places: (
        # Added to nothing, so that SQLite looks at what is in the house: by the item and the place
        # it goes through all that ever was there.
        Balance.objects.alias(item_key=F("item_id") + 0, place_key=F("place_id") + 0)
        .filter(
            item_key=Given("item", IntegerField()),
            place_key__in=places,
            quantity__gt=0,
            is_physical=True,
        )
        .ours()
        .exclude(lot__is_on_hold=True)
        .exclude(lot__ready_on__gt=Given("today", DateField()))
        .select_related("item", "place", "lot")
        .order_by("lot__best_by", "lot__made_on", "lot_id", "place_id")
    )
)


def with_held(sentence: str, item: Item, places: list[Place]) -> str:
    """Add to a refusal what there is of the item at these places, but on hold."""
    held = (
        Balance.objects.filter(
            item=item, place__in=places, quantity__gt=0, lot__is_on_hold=True, is_physical=True
        )
        .order_by("lot")
        .values_list("lot__code")
        .annotate(there=Sum("quantity"))
    )
    for code, there in held[:HELD_TOLD]:
        on_hold = _("On hold, not for sale: %(much)s of lot %(lot)s.")
        sentence += " " + on_hold % {"much": item.in_words(there), "lot": code}
    return sentence


def with_setting(sentence: str, item: Item, places: list[Place]) -> str:
    """Add to a refusal what there is of the item at these places, but not ready before a day."""
    setting = (
        Balance.objects.filter(item=item, place__in=places, quantity__gt=0)
        .filter(lot__ready_on__gt=timezone.localdate(), lot__is_on_hold=False, is_physical=True)
        .order_by("lot__ready_on", "lot")
        .values_list("lot__code", "lot__ready_on")
        .annotate(there=Sum("quantity"))
    )
    for code, day, there in setting[:HELD_TOLD]:
        ready = _("Ready from %(day)s: %(much)s of lot %(lot)s.")
        sentence += " " + ready % {
            "day": date_format(day),
            "much": item.in_words(there),
            "lot": code,
        }
    return sentence


def pick(
    *, item: Item, places: list[Place], pieces: int, parameter: str = "pieces"
) -> list[tuple[Balance, int]]:
    """Choose `pieces` free pieces, or grams, oldest lot first, with the item locked.

    Raises `NotEnoughStock` when fewer are free.
    """
    picked, wanted = [], pieces
    for balance in free_at(item, places):
        taken = min(wanted, balance.free)
        picked.append((balance, taken))
        wanted -= taken
        if wanted == 0:
            return picked
    free = pieces - wanted
    figures: dict[str, object] = {"item": item.name, "asked": pieces, "free": free}
    figures["places"] = ", ".join(place.name for place in places)
    said = _("Not enough %(item)s in %(places)s. Asked for: %(asked)s. Free: %(free)s.")
    if item.is_weighed:
        figures["asked"], figures["free"] = item.in_words_apart(pieces, free)
    elif free:
        said = _(
            "Not enough %(item)s in %(places)s. Asked for: %(asked)s. Free: %(free)s. "
            "Enter fewer pieces."
        )
    raise NotEnoughStock(
        with_setting(with_held(said % figures, item, places), item, places),
        parameter=parameter,
        asked=pieces,
        there=free,
    )

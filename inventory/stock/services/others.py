"""Honey of other beekeepers: received to be extracted, stored or packed, handed back, or bought.

It is in the books at its places, and belongs to its owner: the house neither sells it nor mixes
it with its own. Buying it makes a lot of the house, with theirs as its parent.
"""

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Unpack

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import checks
from inventory.shared.errors import BadValue, NotAllowedNow, Problems, parameters_named
from inventory.shared.people import Person
from inventory.shared.weights import in_words
from inventory.stock import density, rules
from inventory.stock.models import Balance, Item, Lot, LotParent, Place, Posting, Supplier
from inventory.stock.services import arrivals, honey, ledger, lots, moments, purchases, stores
from inventory.stock.services.arrivals import HoneyFacts, VesselReceived

# What is done for an owner, by the kind of the lot: extracted here, or brought to be stored.
WORK = (Lot.Kind.EXTRACTION, Lot.Kind.STORED)


@transaction.atomic
def receive(
    *,
    owner: Supplier,
    kind: str,
    vessels: Sequence[VesselReceived],
    recorded_by: Person,
    key: str,
    **facts: Unpack[HoneyFacts],
) -> Lot:
    """Bring honey of a beekeeper into vessels as one new lot that belongs to them.

    `kind` is a kind of lot: extraction where it was extracted here for them, stored where it came
    as honey. Raises `BadValue`, `NotAllowedNow` where a vessel has honey of somebody else,
    `VesselTooSmall`, `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    # First, because a full vessel sent again would be weighed against what it already holds.
    ledger.refuse_repeat(key)
    lot, grams = _checked(owner, kind, vessels, facts)
    arrivals.bring_in(
        lot=lot,
        code=lots.next_code(lot.season, "K"),
        kind=Posting.Kind.OWNER_RECEIPT,
        source=Place.objects.outside(Place.Kind.OWNER),
        vessels=vessels,
        grams=grams,
        recorded_by=recorded_by,
        key=key,
    )
    return lot


def preview_receipt(
    *, owner: Supplier, kind: str, vessels: Sequence[VesselReceived], **facts: Unpack[HoneyFacts]
) -> honey.HoneyPreview:
    """Say what receiving it would change, without doing it; raises as `receive`."""
    lot, grams = _checked(owner, kind, vessels, facts)
    return arrivals.preview(lot=lot, vessels=vessels, grams=grams)


@transaction.atomic
def hand_back(
    *,
    place: Place,
    grams: int | None,
    recorded_by: Person,
    key: str,
    handed_on: date | None = None,
    note: str = "",
) -> Posting:
    """Give honey in a vessel back to its owner, by weight; `grams` None means all of it.

    Raises `BadValue`, `NotAllowedNow` for an empty vessel or honey of the house,
    `NotEnoughHoney`, `AlreadyRecorded`.
    """
    problems = Problems()
    if grams is not None:
        checks.check_grams(problems, "grams", grams)
    checks.check_day(problems, "handed_on", handed_on)
    problems.raise_any()
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    moment = moments.of_draw(handed_on, place)
    there = Balance.objects.in_vessel(place)
    if there and Balance.objects.in_vessel(place, moment) is None:
        _refuse_before_it_came(there.honey_lot, handed_on, parameter="handed_on")
    portion = _theirs(place, grams, moment)
    _refuse_before_it_came(portion.lot, handed_on, parameter="handed_on")
    return _post_back(
        Item.objects.honey(),
        portion.lot,
        place,
        portion.grams,
        recorded_by,
        key,
        handed_on,
        note,
        took_all=grams is None,
    )


@transaction.atomic
def hand_back_jars(
    *,
    item: Item,
    lot: Lot,
    place: Place,
    pieces: int,
    recorded_by: Person,
    key: str,
    handed_on: date | None = None,
    note: str = "",
) -> Posting:
    """Give packed pieces of a lot back to its owner.

    Raises `BadValue`, `NotAllowedNow` for a lot of the house, `NotEnoughStock`, `AlreadyRecorded`.
    """
    problems = Problems()
    rules.check_pieces(problems, "pieces", pieces)
    checks.check_day(problems, "handed_on", handed_on)
    problems.raise_any()
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    _refuse_ours(lot, parameter="lot")
    _refuse_before_it_came(lot, handed_on, parameter="handed_on")
    with stores.refused_at("pieces"):
        return _post_back(item, lot, place, pieces, recorded_by, key, handed_on, note)


@transaction.atomic
def buy(
    *,
    place: Place,
    grams: int | None,
    recorded_by: Person,
    key: str,
    target: Place | None = None,
    cost_cents: int | None = None,
    price_per_pound: Decimal | None = None,
    bought_on: date | None = None,
    note: str = "",
) -> Lot:
    """Buy honey in a vessel from its owner; it becomes a bought lot of the house, with its price.

    `grams` None means all of it, which may stay where it is; a part goes into the vessel `target`.
    Raises `BadValue`, `NotAllowedNow` for honey of the house, `NotEnoughHoney`, `VesselTooSmall`,
    `StockReserved`, `AlreadyRecorded`.
    """
    _check_price(grams, cost_cents, price_per_pound, bought_on)
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    moment = moments.of_draw(bought_on, place)
    portion = _theirs(place, grams, moment)
    _refuse_before_it_came(portion.lot, bought_on, parameter="bought_on")
    _check_target(portion, target, moment)
    bought = _bought(portion, cost_cents, price_per_pound, bought_on, note)
    bought.code = lots.next_code(bought.season, "P")
    checks.save_checked(bought)
    LotParent.objects.create(lot=bought, parent=portion.lot, grams=portion.grams)
    item, outside = Item.objects.honey(), Place.objects.outside(Place.Kind.SUPPLIER)
    # Theirs leaves as if it were handed back, and comes as everything that is bought comes.
    lines = ledger.move(
        item=item,
        lot=portion.lot,
        source=place,
        target=Place.objects.outside(Place.Kind.OWNER),
        quantity=portion.grams,
    )
    if target is None or target == place:
        lines += ledger.move(
            item=item, lot=bought, source=outside, target=place, quantity=portion.grams
        )
    else:
        with parameters_named(sources="grams"):
            lines += honey.pour(
                target=target,
                portions=[lots.Portion(bought, portion.grams, outside)],
                at=moment,
            )
    ledger.post(
        kind=Posting.Kind.PURCHASE,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=moment,
    )
    return bought


def preview_buy(
    *,
    place: Place,
    grams: int | None,
    target: Place | None = None,
    cost_cents: int | None = None,
    price_per_pound: Decimal | None = None,
    bought_on: date | None = None,
) -> honey.HoneyPreview:
    """Say what buying it would change, without doing it; raises as `buy`."""
    _check_price(grams, cost_cents, price_per_pound, bought_on)
    moment = moments.of_draw(bought_on, place)
    portion = _theirs(place, grams, moment)
    _check_target(portion, target, moment)
    bought = _bought(portion, cost_cents, price_per_pound, bought_on, "")
    before = honey.all_of(place, parameter="place", at=moment)
    if target is None or target == place:
        litres = density.litres_of(before, moisture_percent=bought.honey_moisture)
        return honey.HoneyPreview(
            (honey.VesselChange(place, before, before),), bought, litres, bought, price_per_pound
        )
    with parameters_named(place="target"):
        there = honey.preview_receipt(place=target, lot=bought)
    change = honey.VesselChange(place, before, before - portion.grams)
    return honey.HoneyPreview(
        (change, *there.changes), there.lot, there.litres, bought, price_per_pound
    )


def _checked(
    owner: Supplier, kind: str, vessels: Sequence[VesselReceived], facts: HoneyFacts
) -> tuple[Lot, list[int]]:
    problems = Problems()
    if owner.kind != Supplier.Kind.BEEKEEPER:
        problems.add(
            "owner",
            _("%(name)s is not a beekeeper. Change the kind of this supplier first.")
            % {"name": owner.name},
        )
    elif not owner.is_active:
        problems.add("owner", _("%(name)s is out of use.") % {"name": owner.name})
    if kind not in WORK:
        problems.add("kind", _("Choose what you do for them."))
    problems.raise_any()
    lot, grams = arrivals.make_lot(kind=kind, vessels=vessels, **facts)
    lot.owner = owner
    return lot, grams


def _theirs(place: Place, grams: int | None, at: datetime | None = None) -> lots.Portion:
    """Return the portion that is drawn from a vessel; raise where it is the house's own."""
    asked = honey.all_of(place, parameter="place", at=at) if grams is None else grams
    portion = honey.take(source=place, grams=asked, source_parameter="place", at=at)
    _refuse_ours(portion.lot, parameter="place")
    return portion


def _refuse_ours(lot: Lot, *, parameter: str) -> None:
    if lot.is_ours:
        raise NotAllowedNow(
            _("Lot %(lot)s is your own and belongs to no other beekeeper. Choose another.")
            % {"lot": lot.code},
            parameter=parameter,
        )


def _refuse_before_it_came(lot: Lot, day: date | None, *, parameter: str) -> None:
    if day is not None and day < lot.made_on:
        raise BadValue(
            _("Lot %(lot)s is in the books from %(day)s. Choose that day or a later one.")
            % {"lot": lot.code, "day": date_format(lot.made_on)},
            parameter=parameter,
        )


def _check_price(
    grams: int | None,
    cost_cents: int | None,
    price_per_pound: Decimal | None,
    bought_on: date | None,
) -> None:
    problems = Problems()
    if grams is not None:
        checks.check_grams(problems, "grams", grams)
    if cost_cents is None and price_per_pound is None:
        problems.add(
            "cost_cents", in_words(_("Enter what you pay for it, or the price of a {unit}."))
        )
    purchases.check_cost(problems, cost_cents=cost_cents, price_per_pound=price_per_pound)
    checks.check_day(problems, "bought_on", bought_on)
    problems.raise_any()


def _check_target(portion: lots.Portion, target: Place | None, at: datetime | None = None) -> None:
    """Raise where what is bought would stay in one vessel with what is not."""
    problems = Problems()
    if target is not None and target != portion.source:
        rules.check_vessel(problems, "target", target)
    elif portion.grams < honey.all_of(portion.source, at=at):
        problems.add(
            "target",
            _(
                "The rest in %(place)s still belongs to its owner, so what you buy needs "
                "another vessel. Choose one, or buy all of it."
            )
            % {"place": portion.source.name},
        )
    problems.raise_any()


def _bought(
    portion: lots.Portion,
    cost_cents: int | None,
    price_per_pound: Decimal | None,
    bought_on: date | None,
    note: str,
) -> Lot:
    """Return the lot of the house that their honey becomes, not saved and without a code."""
    theirs = portion.lot
    if price_per_pound is not None:
        cost_cents = purchases.cost_of(portion.grams, price_per_pound)
    return Lot(
        kind=Lot.Kind.BOUGHT,
        season=theirs.season,
        floral_source=theirs.floral_source,
        yard=theirs.yard,
        made_on=bought_on or timezone.localdate(),
        moisture_percent=theirs.moisture_percent,
        colour_mm=theirs.colour_mm,
        supplier=theirs.owner,
        supplier_lot=theirs.supplier_lot,
        country=theirs.country,
        region=theirs.region,
        quantity_made=portion.grams,
        cost_cents=cost_cents,
        note=note,
    )


def _post_back(
    item: Item,
    lot: Lot,
    place: Place,
    quantity: int,
    recorded_by: Person,
    key: str,
    handed_on: date | None,
    note: str,
    *,
    took_all: bool = False,
) -> Posting:
    return ledger.post(
        kind=Posting.Kind.OWNER_RETURN,
        lines=ledger.move(
            item=item,
            lot=lot,
            source=place,
            target=Place.objects.outside(Place.Kind.OWNER),
            quantity=quantity,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=moments.of_draw(handed_on, place),
        took_all=took_all,
    )

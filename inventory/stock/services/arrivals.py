"""Honey that comes from outside, in one vessel or in several of one delivery.

What `purchases` and `others` share: what is said of the honey, how each vessel was weighed, and
the one lot that all of it becomes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Required, TypedDict, Unpack

from django.utils.translation import gettext as _

from inventory.shared import checks, words
from inventory.shared.errors import BadValue, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock import density, rules
from inventory.stock.models import Balance, Lot, Place, Posting
from inventory.stock.services import drums, honey, ledger, lots, measurements, moments


class HoneyFacts(TypedDict, total=False):
    """What is said of honey that comes in; an empty country or region is unknown."""

    floral_source: Required[str]
    season: Required[int]
    received_on: Required[date]
    supplier_lot: str
    country: str
    region: str
    yard: str
    moisture_percent: Decimal | None
    refractive_index: Decimal | None
    refractometer_celsius: Decimal | None
    colour_mm: Decimal | None
    note: str


@dataclass(frozen=True)
class VesselReceived:
    """Honey in one vessel of a delivery: its net weight, or gross weight and empty weight.

    Without `tare_grams` the vessel's own empty weight counts; a given one becomes it.
    """

    place: Place
    net_grams: int | None = None
    gross_grams: int | None = None
    tare_grams: int | None = None


def make_lot(
    *, kind: str, vessels: Sequence[VesselReceived], **facts: Unpack[HoneyFacts]
) -> tuple[Lot, list[int]]:
    """Return the lot of a delivery, not saved and without a code, and the grams of each vessel.

    Raises `BadValue` for what can't be; the parameter is "vessels.1.net_grams" for the second
    vessel.
    """
    problems = Problems()
    index, celsius = facts.get("refractive_index"), facts.get("refractometer_celsius")
    moisture = Decimal(0)
    try:
        moisture = lots.moisture_known(facts.get("moisture_percent"), index, celsius)
    except BadValue as error:
        problems.add_error(error)
    lots.check_facts(
        problems,
        floral_source=facts["floral_source"],
        season=facts["season"],
        colour_mm=facts.get("colour_mm"),
    )
    checks.check_day(problems, "received_on", facts["received_on"])
    grams = _weigh(problems, vessels, moments.of_arrival(facts["received_on"]))
    problems.raise_any()
    lot = Lot(
        kind=kind,
        season=facts["season"],
        floral_source=facts["floral_source"].strip(),
        yard=facts.get("yard", "").strip(),
        made_on=facts["received_on"],
        moisture_percent=moisture,
        refractive_index=index,
        refractometer_celsius=celsius,
        colour_mm=facts.get("colour_mm"),
        supplier_lot=facts.get("supplier_lot", "").strip(),
        country=facts.get("country", ""),
        region=facts.get("region", "").strip(),
        quantity_made=sum(grams),
        note=facts.get("note", ""),
    )
    return lot, grams


def bring_in(
    *,
    lot: Lot,
    code: str,
    kind: str,
    source: Place,
    vessels: Sequence[VesselReceived],
    grams: Sequence[int],
    recorded_by: Person,
    key: str,
) -> Posting:
    """Save the lot of a delivery and put it into its vessels, in one posting from outside.

    Call with the honey locked. Raises `VesselTooSmall`, `StockReserved`, `NotAllowedNow`.
    """
    lot.code = code
    checks.save_checked(lot)
    measurements.record_with_lot(lot=lot, recorded_by=recorded_by)
    moment = moments.of_arrival(lot.made_on, *(vessel.place for vessel in vessels))
    lines = []
    for index, (vessel, net) in enumerate(zip(vessels, grams, strict=True)):
        names = {"target": f"vessels.{index}.place", "sources": f"vessels.{index}.net_grams"}
        with parameters_named(**names):
            lines += honey.pour(
                target=vessel.place,
                portions=[lots.Portion(lot, net, source)],
                at=moment,
            )
        if vessel.tare_grams is not None and vessel.tare_grams != vessel.place.tare_grams:
            vessel.place.tare_grams = vessel.tare_grams
            vessel.place.save(update_fields=["tare_grams"])
    return ledger.post(
        kind=kind,
        lines=lines,
        recorded_by=recorded_by,
        key=key,
        note=lot.note,
        occurred_at=moment,
    )


def preview(
    *, lot: Lot, vessels: Sequence[VesselReceived], grams: Sequence[int]
) -> honey.HoneyPreview:
    """Say what a delivery would change, without doing it; raises as `bring_in`."""
    changes: list[honey.VesselChange] = []
    for index, (vessel, net) in enumerate(zip(vessels, grams, strict=True)):
        portion = Lot(
            kind=lot.kind,
            owner=lot.owner,
            season=lot.season,
            floral_source=lot.floral_source,
            moisture_percent=lot.moisture_percent,
            colour_mm=lot.colour_mm,
            quantity_made=net,
            made_on=lot.made_on,
        )
        names = {"place": f"vessels.{index}.place", "grams": f"vessels.{index}.net_grams"}
        with parameters_named(**names):
            changes += honey.preview_receipt(place=vessel.place, lot=portion).changes
    litres = density.litres_of(lot.quantity_made, moisture_percent=lot.honey_moisture)
    return honey.HoneyPreview(tuple(changes), lot, litres)


def _weigh(problems: Problems, vessels: Sequence[VesselReceived], at: datetime | None) -> list[int]:
    """Return the net grams of each vessel; add what is wrong with any of them."""
    if not vessels:
        problems.add("vessels", _("Enter the vessels that the honey came in."))
    found, seen = [], set()
    for index, vessel in enumerate(vessels):
        if vessel.place in seen:
            problems.add(
                f"vessels.{index}.place",
                _("%(place)s is listed twice. Put the whole amount in one line.")
                % {"place": vessel.place.name},
            )
        seen.add(vessel.place)
        rules.check_vessel(problems, f"vessels.{index}.place", vessel.place)
        net = _net_grams(problems, index, vessel, at)
        if net is not None:
            checks.check_grams(problems, f"vessels.{index}.net_grams", net)
        found.append(net or 0)
    return found


def _net_grams(
    problems: Problems, index: int, vessel: VesselReceived, at: datetime | None
) -> int | None:
    name, gross = vessel.place.name, vessel.gross_grams
    if vessel.net_grams is not None and gross is not None:
        problems.add(
            f"vessels.{index}.gross_grams",
            _("Enter the net weight, or the gross weight, not both."),
        )
        return None
    if gross is None:
        if vessel.net_grams is None:
            problems.add(
                f"vessels.{index}.net_grams",
                _("Enter the weight of the honey in %(place)s.") % {"place": name},
            )
        return vessel.net_grams
    tare = vessel.place.tare_grams if vessel.tare_grams is None else vessel.tare_grams
    if tare is None:
        problems.add(
            f"vessels.{index}.tare_grams",
            _("Enter the empty weight of %(place)s.") % {"place": name},
        )
        return None
    if gross > drums.GROSS_GRAMS_MAX and vessel.place.kind == Place.Kind.DRUM:
        problems.add(
            f"vessels.{index}.gross_grams",
            _("%(gross)s is more than a drum of honey weighs. Check the figure and its unit.")
            % {"gross": words.weight(gross)},
        )
        return None
    there = Balance.objects.in_vessel(vessel.place, at)
    net = gross - tare - (there.quantity if there else 0)
    if net <= 0:
        gross_words, tare_words = words.weights_apart(gross, gross - net)
        problems.add(
            f"vessels.{index}.gross_grams",
            _(
                "The full vessel (%(gross)s) must weigh more than the vessel and what was in it "
                "before (%(before)s). Check the weights."
            )
            % {"gross": gross_words, "before": tare_words},
        )
        return None
    return net

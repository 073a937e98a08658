"""Drums: filled by weight, and emptied."""

from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import words
from inventory.shared.errors import BadValue, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock.models import Balance, Item, Place, Posting
from inventory.stock.services import honey, ledger, moments

# A full steel drum of honey is near 320 kg; nothing that stands on a drum scale weighs twice that.
GROSS_GRAMS_MAX = 700_000
# What the errors of a transfer call, and what those who fill a drum call it.
FILLED = {"source": "tank", "target": "drum", "grams": "gross_grams", "poured_on": "filled_on"}


@transaction.atomic
def fill(
    *,
    tank: Place,
    drum: Place,
    gross_grams: int,
    recorded_by: Person,
    key: str,
    tare_grams: int | None = None,
    note: str = "",
    filled_on: date | None = None,
) -> Posting:
    """Fill a drum from a vessel; what went in is gross less tare less what was in it.

    `tare_grams` is the drum's own empty weight when left out, and becomes it when given. Without
    `filled_on` it happens now.
    Raises `BadValue`, `LotOnHold`, `NotEnoughHoney`, `StockReserved`, `VesselTooSmall`,
    `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    net = net_grams(
        drum=drum, gross_grams=gross_grams, tare_grams=tare_grams, filled_on=filled_on, tank=tank
    )
    if tare_grams is not None and tare_grams != drum.tare_grams:
        drum.tare_grams = tare_grams
        drum.save(update_fields=["tare_grams"])
    with parameters_named(**FILLED):
        return honey.transfer(
            source=tank,
            target=drum,
            grams=net,
            recorded_by=recorded_by,
            key=key,
            kind=Posting.Kind.DRUM_FILL,
            note=note,
            poured_on=filled_on,
        )


def preview_fill(
    *,
    tank: Place,
    drum: Place,
    gross_grams: int,
    tare_grams: int | None = None,
    filled_on: date | None = None,
) -> honey.HoneyPreview:
    """Say what filling a drum would change, without doing it; raises as `fill`."""
    net = net_grams(
        drum=drum, gross_grams=gross_grams, tare_grams=tare_grams, filled_on=filled_on, tank=tank
    )
    with parameters_named(**FILLED):
        return honey.preview_transfer(source=tank, target=drum, grams=net, poured_on=filled_on)


def net_grams(
    *,
    drum: Place,
    gross_grams: int,
    tare_grams: int | None = None,
    filled_on: date | None = None,
    tank: Place | None = None,
) -> int:
    """Return what went into a drum: gross less tare less what the books say was in it that day.

    Raises `BadValue` where the figures are not those of a drum filled.
    """
    problems = Problems()
    tare = drum.tare_grams if tare_grams is None else tare_grams
    if drum.kind != Place.Kind.DRUM:
        problems.add("drum", _("%(place)s is not a drum.") % {"place": drum.name})
    if tare is None:
        problems.add("tare_grams", _("Enter the empty weight of %(drum)s.") % {"drum": drum.name})
    elif tare < 0:
        problems.add("tare_grams", _("The empty weight can't be below zero."))
    elif gross_grams <= tare:
        gross_words, tare_words = words.pounds_apart(gross_grams, tare)
        problems.add(
            "gross_grams",
            _(
                "The full drum (%(gross)s) must weigh more than the empty drum (%(tare)s). "
                "Check both weights."
            )
            % {"gross": gross_words, "tare": tare_words},
        )
    if gross_grams > GROSS_GRAMS_MAX:
        problems.add(
            "gross_grams",
            _("%(gross)s is more than a drum of honey weighs. Check the figure and its unit.")
            % {"gross": words.pounds(gross_grams)},
        )
    problems.raise_any()
    moment = moments.of_draw(filled_on, *([tank] if tank else []))
    there = Balance.objects.in_vessel(drum, moment)
    inside = there.quantity if there else 0
    net = gross_grams - (tare or 0) - inside
    if net <= 0:
        raise BadValue(
            _(
                "%(drum)s already has %(there)s of honey, so a gross weight of %(gross)s "
                "adds no honey. Check the gross weight and the empty weight."
            )
            % {
                "drum": drum.name,
                "there": words.pounds(inside, 1),
                "gross": words.pounds(gross_grams, 1),
            },
            parameter="gross_grams",
        )
    return net


@transaction.atomic
def drain(
    *,
    drum: Place,
    target: Place,
    recorded_by: Person,
    key: str,
    note: str = "",
    drained_on: date | None = None,
) -> Posting:
    """Empty a vessel into another, to the last gram on the books; now, or on that day."""
    with parameters_named(source="drum", grams="target", poured_on="drained_on"):
        return honey.transfer(
            source=drum,
            target=target,
            grams=None,
            recorded_by=recorded_by,
            key=key,
            note=note,
            poured_on=drained_on,
        )

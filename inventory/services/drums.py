"""Drums: filled by weight, and emptied."""

from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import words
from inventory.errors import BadValue, NotAllowedNow, Problems
from inventory.models import Place, Posting
from inventory.services import checks, honey

# A full steel drum of honey is near 320 kg; nothing that stands on a drum scale weighs twice that.
GROSS_GRAMS_MAX = 700_000


@transaction.atomic
def fill(
    *,
    tank: Place,
    drum: Place,
    gross_grams: int,
    recorded_by: Any,
    key: str,
    tare_grams: int | None = None,
    note: str = "",
) -> Posting:
    """Fill a drum from a vessel; what went in is gross less tare less what was in it.

    `tare_grams` is the drum's own empty weight when left out, and becomes it when given.
    Raises `BadValue`, `NotEnoughHoney`, `StockReserved`, `VesselTooSmall`, `AlreadyRecorded`.
    """
    problems = Problems()
    tare = drum.tare_grams if tare_grams is None else tare_grams
    if drum.kind != Place.Kind.DRUM:
        problems.add("drum", _("%(place)s is not a drum.") % {"place": drum.name})
    if tare is None:
        problems.add("tare", _("Enter the empty weight of %(drum)s.") % {"drum": drum.name})
    elif tare < 0:
        problems.add("tare", _("The empty weight can't be less than nothing."))
    elif gross_grams <= tare:
        problems.add(
            "gross",
            _("The full drum weighs %(gross)s, no more than the empty one, %(tare)s.")
            % {"gross": words.pounds(gross_grams), "tare": words.pounds(tare)},
        )
    if gross_grams > GROSS_GRAMS_MAX:
        problems.add(
            "gross",
            _("%(gross)s is more than a drum of honey weighs. Check the figure and its unit.")
            % {"gross": words.pounds(gross_grams)},
        )
    problems.raise_any()
    checks.refuse_repeat(key)
    if tare != drum.tare_grams:
        drum.tare_grams = tare
        drum.save(update_fields=["tare_grams"])
    there = honey.content(drum)
    net_grams = gross_grams - tare - (there.quantity if there else 0)
    if net_grams <= 0:
        raise BadValue(
            _("%(drum)s holds %(there)s already; a gross weight of %(gross)s adds nothing.")
            % {
                "drum": drum.name,
                "there": words.pounds(there.quantity),
                "gross": words.pounds(gross_grams),
            },
            field="gross",
        )
    return honey.transfer(
        source=tank,
        target=drum,
        grams=net_grams,
        recorded_by=recorded_by,
        key=key,
        kind=Posting.Kind.DRUM_FILL,
        note=note,
    )


@transaction.atomic
def drain(*, drum: Place, target: Place, recorded_by: Any, key: str, note: str = "") -> Posting:
    """Empty a vessel into another, to the last gram on the books."""
    checks.refuse_repeat(key)
    there = honey.content(drum)
    if there is None:
        raise NotAllowedNow(_("%(place)s is empty already.") % {"place": drum.name}, field="source")
    return honey.transfer(
        source=drum,
        target=target,
        grams=there.quantity,
        recorded_by=recorded_by,
        key=key,
        note=note,
    )

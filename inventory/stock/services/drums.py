"""Drums: filled by weight, volume or depth, weighed again, and emptied."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import checks, words
from inventory.shared.errors import BadValue, NotAllowedNow, Problems, parameters_named
from inventory.shared.people import Person
from inventory.stock import density, rules, signals, vessels
from inventory.stock.models import Balance, Item, Place, Posting
from inventory.stock.services import honey, ledger, moments
from inventory.stock.services.ledger import ReservedStock

# A full steel drum of honey is near 320 kg; nothing that stands on a drum scale weighs twice that.
GROSS_GRAMS_MAX = 700_000
NOTE_MAX = 300
# What the errors of a transfer call, and what those who fill a drum call it.
FILLED = {"source": "tank", "target": "drum", "grams": "gross_grams", "poured_on": "filled_on"}


@dataclass(frozen=True)
class DrumMeasured:
    """How a drum that is filled was measured: one of gross weight, litres poured in, or depth.

    Gross weight is with its tare, None for the one on record. Litres and depth are at `celsius`;
    the depth is that of all honey then in the drum.
    """

    gross_grams: int | None = None
    tare_grams: int | None = None
    litres: Decimal | None = None
    depth_mm: int | None = None
    celsius: Decimal | None = None


@dataclass(frozen=True)
class Poured:
    """The grams that went into a drum, and the sentence that says how they were worked out."""

    grams: int
    how: str = ""


@transaction.atomic
def fill(
    *,
    tank: Place,
    drum: Place,
    recorded_by: Person,
    key: str,
    gross_grams: int | None = None,
    tare_grams: int | None = None,
    litres: Decimal | None = None,
    depth_mm: int | None = None,
    celsius: Decimal | None = None,
    note: str = "",
    filled_on: date | None = None,
) -> Posting:
    """Fill a drum from a vessel, measured by weight, by volume or by depth.

    By weight, what went in is gross less tare less what was in it; `tare_grams` is the drum's own
    empty weight when left out, and becomes it when given. `litres` went in, or all honey in the
    drum is `depth_mm` deep; both become a weight by the density of the tank's honey at `celsius`,
    and the note says how. Without `filled_on` it happens now.
    Raises `BadValue`, `LotOnHold`, `NotEnoughHoney`, `StockReserved`, `VesselTooSmall`,
    `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    went_in = poured(
        tank=tank,
        drum=drum,
        measured=DrumMeasured(gross_grams, tare_grams, litres, depth_mm, celsius),
        filled_on=filled_on,
    )
    _keep_tare(drum, tare_grams)
    with parameters_named(**_filled(litres, depth_mm)):
        return honey.transfer(
            source=tank,
            target=drum,
            grams=went_in.grams,
            recorded_by=recorded_by,
            key=key,
            kind=Posting.Kind.DRUM_FILL,
            note=" ".join(part for part in (note, went_in.how) if part)[:NOTE_MAX],
            poured_on=filled_on,
        )


def preview_fill(
    *, tank: Place, drum: Place, measured: DrumMeasured, filled_on: date | None = None
) -> honey.HoneyPreview:
    """Say what filling a drum would change, without doing it; raises as `fill`."""
    went_in = poured(tank=tank, drum=drum, measured=measured, filled_on=filled_on)
    with parameters_named(**_filled(measured.litres, measured.depth_mm)):
        return honey.preview_transfer(
            source=tank, target=drum, grams=went_in.grams, poured_on=filled_on
        )


def poured(
    *, tank: Place, drum: Place, measured: DrumMeasured, filled_on: date | None = None
) -> Poured:
    """Return what went into a drum that day, however it was measured.

    Raises `BadValue` where the figures are not those of a drum filled.
    """
    given = [measured.gross_grams, measured.litres, measured.depth_mm]
    if sum(figure is not None for figure in given) != 1:
        raise BadValue(
            _("Enter one of the three: the gross weight, the volume, or the depth."),
            parameter="gross_grams",
        )
    if measured.gross_grams is not None:
        grams = net_grams(
            drum=drum,
            gross_grams=measured.gross_grams,
            tare_grams=measured.tare_grams,
            filled_on=filled_on,
            tank=tank,
        )
        return Poured(grams)
    return _by_density(tank, drum, measured, moments.of_draw(filled_on, tank))


def _filled(litres: Decimal | None, depth_mm: int | None) -> dict[str, str]:
    """Return what the errors of a transfer call, by the figure that was given."""
    if litres is not None:
        return {**FILLED, "grams": "litres"}
    return {**FILLED, "grams": "depth_mm"} if depth_mm is not None else FILLED


def _by_density(
    tank: Place, drum: Place, measured: DrumMeasured, moment: datetime | None
) -> Poured:
    """Work out what went into a drum from its volume or depth, at the moisture of the tank."""
    problems = Problems()
    _check_drum(problems, drum)
    source = Balance.objects.in_vessel(tank, moment)
    there = Balance.objects.in_vessel(drum, moment)
    if source is None:
        problems.add("tank", _("%(place)s is empty already.") % {"place": tank.name})
    if measured.celsius is None:
        problems.add("celsius", _("Enter the temperature: the weight depends on it."))
    if measured.litres is not None and measured.litres <= 0:
        problems.add("litres", _("Enter the volume."))
    problems.raise_any()
    # An empty tank and a missing temperature are among the problems.
    if source is None or measured.celsius is None:
        raise BadValue(_("Enter the temperature: the weight depends on it."), parameter="celsius")
    litres, inside, parameter = measured.litres, 0, "litres"
    if litres is None:
        litres = vessels.drum_litres_at(drum, measured.depth_mm or 0)
        inside, parameter = there.quantity if there else 0, "depth_mm"
    moisture = source.honey_lot.honey_moisture
    try:
        weighed = density.grams_of(litres, moisture_percent=moisture, celsius=measured.celsius)
    except ValueError as error:
        raise BadValue(str(error), parameter="celsius") from error
    if weighed.grams <= inside:
        raise BadValue(
            _(
                "%(drum)s already has %(there)s of honey, and this depth is only %(typed)s. Check "
                "the depth."
            )
            % {
                "drum": drum.name,
                "there": words.weight(inside, 1),
                "typed": words.weight(weighed.grams, 1),
            },
            parameter=parameter,
        )
    how = _(
        "Weight worked out from %(gallons)s (%(litres)s L) at %(moisture)s %% "
        "moisture, %(temperature)s; give or take %(uncertainty)s."
    ) % {
        "gallons": words.volume(litres),
        "litres": litres.quantize(Decimal("0.1")),
        "moisture": words.number(moisture.normalize()),
        "temperature": words.temperature(measured.celsius),
        "uncertainty": words.weight(weighed.uncertainty_grams),
    }
    return Poured(weighed.grams - inside, how)


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
    weighed = contents_weighed(drum=drum, gross_grams=gross_grams, tare_grams=tare_grams)
    moment = moments.of_draw(filled_on, *([tank] if tank else []))
    there = Balance.objects.in_vessel(drum, moment)
    inside = there.quantity if there else 0
    net = weighed - inside
    if net <= 0:
        raise BadValue(
            _(
                "%(drum)s already has %(there)s of honey, so a gross weight of %(gross)s "
                "adds no honey. Check the gross weight and the empty weight."
            )
            % {
                "drum": drum.name,
                "there": words.weight(inside, 1),
                "gross": words.weight(gross_grams, 1),
            },
            parameter="gross_grams",
        )
    return net


def contents_weighed(*, drum: Place, gross_grams: int, tare_grams: int | None = None) -> int:
    """Return the honey in a drum by its scale: gross less tare, or less the tare on record.

    Raises `BadValue` where no drum of honey weighs that.
    """
    problems = Problems()
    tare = drum.tare_grams if tare_grams is None else tare_grams
    _check_drum(problems, drum)
    if tare is None:
        problems.add("tare_grams", _("Enter the empty weight of %(drum)s.") % {"drum": drum.name})
    elif tare < 0:
        problems.add("tare_grams", _("The empty weight can't be below zero."))
    elif tare_grams is not None:
        # What is on record was checked, or is from before there were limits.
        rules.check_tare(problems, "tare_grams", tare_grams, drum.capacity_litres)
    if tare is not None and tare >= 0 and gross_grams <= tare:
        gross_words, tare_words = words.weights_apart(gross_grams, tare)
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
            % {"gross": words.weight(gross_grams)},
        )
    problems.raise_any()
    return gross_grams - (tare or 0)


@dataclass(frozen=True)
class WeighedAgain:
    """A drum that was weighed again, and the posting of the difference; None where it agrees."""

    drum: Place
    difference_grams: int
    posting: Posting | None


@transaction.atomic
def weigh_again(
    *,
    drum: Place,
    gross_grams: int,
    recorded_by: Person,
    key: str,
    tare_grams: int | None = None,
    weighed_on: date | None = None,
    note: str = "",
) -> WeighedAgain:
    """Bring the books of a drum to its scale, up or down; the difference is a scale difference.

    `tare_grams` is the drum's own empty weight when left out, and becomes it when given. On an
    earlier day, the scale is compared with what the books had in it at the end of that day. An
    order that has the drum reserved takes the new weight, at its price a pound.
    Raises `BadValue`, `NotAllowedNow` where the books had none in it, `AlreadyRecorded`.
    """
    ledger.lock_items([Item.objects.honey()])
    ledger.refuse_repeat(key)
    weighed = contents_weighed(drum=drum, gross_grams=gross_grams, tare_grams=tare_grams)
    made = book_weight(
        drum=drum,
        net_grams=weighed,
        recorded_by=recorded_by,
        key=key,
        weighed_on=weighed_on,
        note=note,
    )
    _keep_tare(drum, tare_grams)
    return made


@transaction.atomic
def book_weight(
    *,
    drum: Place,
    net_grams: int,
    recorded_by: Person,
    key: str,
    weighed_on: date | None = None,
    note: str = "",
) -> WeighedAgain:
    """Bring the books of a drum to the honey that a scale says is in it.

    As `weigh_again`, for a net weight. Raises `BadValue`, `NotAllowedNow`, `AlreadyRecorded`.
    """
    item = Item.objects.honey()
    ledger.lock_items([item])
    ledger.refuse_repeat(key)
    problems = Problems()
    checks.check_day(problems, "weighed_on", weighed_on)
    checks.check_grams(problems, "net_grams", net_grams)
    problems.raise_any()
    moment = moments.of_draw(weighed_on, drum)
    there = Balance.objects.in_vessel(drum, moment)
    if there is None:
        raise NotAllowedNow(_was_empty(drum, weighed_on), parameter="drum")
    difference = net_grams - there.quantity
    if not difference:
        return WeighedAgain(drum, 0, None)
    now = Balance.objects.in_vessel(drum)
    promised = [ReservedStock(item, drum, now.lot, now.reserved)] if now and now.reserved else []
    posting = ledger.post(
        kind=Posting.Kind.REWEIGHING,
        lines=ledger.move(
            item=item,
            lot=there.lot,
            source=Place.objects.outside(Place.Kind.SCALE_DIFFERENCE),
            target=drum,
            quantity=difference,
        ),
        recorded_by=recorded_by,
        key=key,
        note=note.strip(),
        occurred_at=moment,
        releases=promised,
        has_happened=True,
    )
    for each in promised:
        signals.reserved_drum_weighed.send(
            sender=Balance, drum=drum, lot=each.lot, person=recorded_by, key=key
        )
    return WeighedAgain(drum, difference, posting)


def keep_tare(*, drum: Place, tare_grams: int) -> None:
    """Let what a drum weighed empty be its own empty weight from now on. Raises `BadValue`."""
    problems = Problems()
    _check_drum(problems, drum)
    rules.check_tare(problems, "tare_grams", tare_grams, drum.capacity_litres)
    problems.raise_any()
    _keep_tare(drum, tare_grams)


def _was_empty(drum: Place, day: date | None) -> str:
    if day is None or day == timezone.localdate():
        return _("The books show %(drum)s as empty. Fill it first.") % {"drum": drum.name}
    return _("%(place)s had no honey on %(day)s. Choose another day.") % {
        "place": drum.name,
        "day": date_format(day),
    }


def _keep_tare(drum: Place, tare_grams: int | None) -> None:
    if tare_grams is not None and tare_grams != drum.tare_grams:
        drum.tare_grams = tare_grams
        drum.save(update_fields=["tare_grams"])


def _check_drum(problems: Problems, drum: Place) -> None:
    if drum.kind != Place.Kind.DRUM:
        problems.add("drum", _("%(place)s is not a drum.") % {"place": drum.name})


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

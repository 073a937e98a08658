"""What the net weights of a sample say about a run, and which weights cannot be."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import cast

from django.utils.translation import gettext as _

from inventory.bottling.models import FillCheck, Size
from inventory.bottling.rules import filling
from inventory.physics import fill_check
from inventory.shared import words
from inventory.shared.errors import BadValue, Problems
from inventory.stock import density

WEIGHTS_MAX = 1_000
# A jar outside these shares of its label weight is a slip of the finger or of the unit.
NET_SHARE_LIKELY = (0.5, 2)
# An average outside these may be gross weights taken for net, or net for gross: ask first.
AVERAGE_SHARE_LIKELY = (Decimal("0.95"), Decimal("1.05"))


@dataclass(frozen=True)
class Sample:
    """What some net weights are on the average, in grams; one piece alone has no spread."""

    labelled_g: float
    weights_g: Sequence[float]

    @property
    def pieces(self) -> int:
        return len(self.weights_g)

    @property
    def average_g(self) -> float:
        return statistics.fmean(self.weights_g)

    @property
    def average_milligrams(self) -> int:
        return round(self.average_g * 1000)

    @property
    def standard_deviation_g(self) -> float | None:
        return statistics.stdev(self.weights_g) if self.pieces > 1 else None

    @property
    def overfill_g(self) -> float:
        """What a piece holds beyond its label on the average; negative when it is short."""
        return self.average_g - self.labelled_g


def sample_of(size: Size, weights_milligrams: Sequence[int]) -> Sample:
    """Return the weights of a check as a sample of its size."""
    return Sample(
        float(size.declared_grams), [milligrams / 1000 for milligrams in weights_milligrams]
    )


def judge(
    size: Size, *, lot_pieces: int | None, scheme: str, weights_milligrams: Sequence[int]
) -> fill_check.FillVerdict | None:
    """Return what a full sample says about its lot; None before the run, or of too few pieces.

    Europe's rule has no verdict on a lot of one piece, which shows no spread. Raises `BadValue`.
    """
    if lot_pieces is None or more_wanted(lot_pieces, scheme, len(weights_milligrams)):
        return None
    if scheme == FillCheck.Scheme.EU and lot_pieces == 1:
        return None
    is_in_pounds = size.declared_unit in (Size.Unit.POUND, Size.Unit.OUNCE)
    try:
        return fill_check.check_fill(
            float(size.declared_grams),
            [milligrams / 1000 for milligrams in weights_milligrams],
            lot_pieces,
            _known(scheme),
            label_unit="lb" if is_in_pounds else "g",
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="weights_milligrams") from error


def check_weights(
    size: Size,
    *,
    lot_pieces: int | None,
    weights_milligrams: Sequence[int],
    earlier: Sequence[int] = (),
    moisture_percent: Decimal | None = None,
) -> None:
    """Refuse more pieces than the run has, and name each weight that no piece can have.

    `lot_pieces` is None before the run is recorded; `earlier` are the weights these are added to.
    `moisture_percent` is that of the honey, where it is known: it says what goes in to the brim.
    Too few pieces for a verdict are no problem: the user can weigh more of them.
    """
    weighed = len(earlier) + len(weights_milligrams)
    if not weights_milligrams:
        raise BadValue(_("Type or paste the weights."), parameter="weights_milligrams")
    if weighed > WEIGHTS_MAX:
        raise BadValue(
            _("Weigh %(most)s pieces at most.") % {"most": words.number(WEIGHTS_MAX)},
            parameter="weights_milligrams",
        )
    if lot_pieces is not None and weighed > lot_pieces:
        raise BadValue(
            _("%(weighed)s were weighed, but the lot has only %(filled)s.")
            % {"weighed": words.pieces(weighed), "filled": lot_pieces},
            parameter="weights_milligrams",
        )
    label_milligrams = float(size.declared_grams) * 1000
    low, high = (share * label_milligrams for share in NET_SHARE_LIKELY)
    most_grams = _brimful_grams(size, moisture_percent)
    problems = Problems()
    for number, milligrams in enumerate(weights_milligrams, start=1):
        if low <= milligrams <= high and most_grams and milligrams > most_grams * 1000:
            problems.add(
                "weights_milligrams",
                _(
                    "Weight %(number)s is %(net)s net, but a piece of %(size)s holds %(most)s at "
                    "most, to the brim. Check the figure, its unit, the tare and the capacity of "
                    "the size."
                )
                % {
                    "number": number,
                    "net": words.grams(Decimal(milligrams) / 1000),
                    "size": size.name,
                    "most": words.grams(Decimal(most_grams)),
                },
            )
        elif not low <= milligrams <= high:
            problems.add(
                "weights_milligrams",
                _(
                    "Weight %(number)s is %(net)s net, far from the %(label)s on the "
                    "label. Check the figure, its unit and the tare."
                )
                % {
                    "number": number,
                    "net": words.grams(Decimal(milligrams) / 1000),
                    "label": filling.declared(size),
                },
            )
    problems.raise_any()


def check_average(size: Size, weights_milligrams: Sequence[int], tare_milligrams: int) -> None:
    """Ask for confirmation if gross and net weights were probably mixed up."""
    average = Decimal(sum(weights_milligrams)) / 1000 / len(weights_milligrams)
    low, high = AVERAGE_SHARE_LIKELY
    if low <= average / size.declared_grams <= high:
        return
    told = {"net": words.grams(average), "label": filling.declared(size)}
    if tare_milligrams:
        sentence = _(
            "Without the empty weight, the pieces average %(net)s, but the label says "
            "%(label)s. Check that these are gross weights and that the empty weight is "
            "right. If both are right, tick the box and send again."
        )
    else:
        sentence = _(
            "The pieces average %(net)s, but the label says %(label)s. Check that these "
            "are net weights, without jar and lid. If they are, tick the box and send "
            "again."
        )
    raise BadValue(sentence % told, parameter="weights_are_right")


def more_wanted(lot_pieces: int, scheme: str, weighed: int) -> int:
    """Return how many more pieces must be weighed for a verdict; 0 for a full sample."""
    return max(0, sample_size_wanted(lot_pieces, scheme) - weighed)


def sample_size_wanted(pieces_filled: int, scheme: str) -> int:
    """Return how many pieces a rule weighs of a run."""
    return int(fill_check.sample_size_wanted(pieces_filled, _known(scheme)))


def _brimful_grams(size: Size, moisture_percent: Decimal | None) -> int | None:
    """Return the most that goes into a piece, at 20 °C, where honey takes the least room."""
    if moisture_percent is None:
        return None
    return filling.brimful_grams(
        size, moisture_percent=moisture_percent, celsius=density.REFERENCE_CELSIUS
    )


def tenth(grams: float) -> Decimal:
    """Return grams to a tenth, to show."""
    return Decimal(str(grams)).quantize(Decimal("0.1"))


def _known(scheme: str) -> fill_check.Scheme:
    # The schemes of the model are those of the physics, which refuses any other.
    return cast(fill_check.Scheme, scheme)

"""What the net weights of a sample say about a run, and which weights cannot be."""

from collections.abc import Sequence
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Size
from inventory.bottling.rules import filling
from inventory.physics import fill_check
from inventory.shared import words
from inventory.shared.errors import BadValue, Problems

WEIGHTS_MAX = 1_000
# A jar outside these shares of its label weight is a slip of the finger or of the unit.
NET_SHARE_LIKELY = (0.5, 2)
# An average outside these may be gross weights taken for net, or net for gross: ask first.
AVERAGE_SHARE_LIKELY = (Decimal("0.95"), Decimal("1.05"))


def judge(
    run: BottlingRun, *, scheme: str, weights_milligrams: Sequence[int]
) -> fill_check.FillCheck:
    """Return what the net weights say about a run, without keeping it. Raises `BadValue`."""
    size = run.size
    is_in_pounds = size.declared_unit in (Size.Unit.POUND, Size.Unit.OUNCE)
    try:
        return fill_check.check_fill(
            float(size.declared_grams),
            [milligrams / 1000 for milligrams in weights_milligrams],
            run.pieces_filled,
            scheme,
            label_unit="lb" if is_in_pounds else "g",
        )
    except ValueError as error:
        raise BadValue(str(error), parameter="weights_milligrams") from error


def check_weights(run: BottlingRun, scheme: str, weights_milligrams: Sequence[int]) -> None:
    """Refuse a sample that the run cannot give, and name each weight that no piece can have.

    Too few pieces are refused, not failed: more of them are weighed before anybody is stopped.
    """
    weighed, size = len(weights_milligrams), run.size
    if weighed > WEIGHTS_MAX:
        raise BadValue(_("Weigh 1,000 pieces at most."), parameter="weights_milligrams")
    if weighed > run.pieces_filled:
        raise BadValue(
            _("%(weighed)s were weighed, but the lot has only %(filled)s.")
            % {"weighed": words.pieces(weighed), "filled": run.pieces_filled},
            parameter="weights_milligrams",
        )
    wanted = fill_check.sample_size_wanted(run.pieces_filled, scheme)
    if weighed < wanted:
        raise BadValue(
            _("This rule weighs at least %(wanted)s of this run. Weigh %(more)s more.")
            % {"wanted": words.pieces(wanted), "more": wanted - weighed},
            parameter="weights_milligrams",
        )
    label_milligrams = float(size.declared_grams) * 1000
    low, high = (share * label_milligrams for share in NET_SHARE_LIKELY)
    problems = Problems()
    for number, milligrams in enumerate(weights_milligrams, start=1):
        if not low <= milligrams <= high:
            problems.add(
                "weights_milligrams",
                _(
                    "Entry %(number)s comes to %(net)s net, far from the label's %(label)s. "
                    "Check the figure, its unit and the tare."
                )
                % {
                    "number": number,
                    "net": words.grams(Decimal(milligrams) / 1000),
                    "label": filling.declared(size),
                },
            )
    problems.raise_any()


def check_average(size: Size, weights_milligrams: Sequence[int], tare_milligrams: int) -> None:
    """Ask before judging an average that gross and net taken for each other would explain."""
    average = Decimal(sum(weights_milligrams)) / 1000 / len(weights_milligrams)
    low, high = AVERAGE_SHARE_LIKELY
    if low <= average / size.declared_grams <= high:
        return
    told = {"net": words.grams(average), "label": filling.declared(size)}
    if tare_milligrams:
        sentence = _(
            "With the empty weight taken off, the pieces average %(net)s; the label says "
            "%(label)s. Are these gross weights, and is the empty weight right? "
            "If so, tick the box and send again."
        )
    else:
        sentence = _(
            "The pieces average %(net)s; the label says %(label)s. Are these net weights, "
            "without jar and lid? If so, tick the box and send again."
        )
    raise BadValue(sentence % told, parameter="weights_are_right")

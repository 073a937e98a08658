"""The verdict of a fill check in the reader's language; the physics says it in English alone."""

from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.bottling.rules.fill_checks import Sample
from inventory.physics.fill_check import FillVerdict
from inventory.shared import words


def sentence(verdict: FillVerdict) -> str:
    """Say whether the lot passed, and what that rests on: the average and the lightest pieces."""
    sentences = [_("Passed.") if verdict.passed else _("Failed.")]
    if "sample_too_small" in verdict.faults:
        sentences.append(_sample(verdict))
    sentences.append(_average(verdict))
    sentences.append(_pieces(verdict))
    return " ".join(sentences)


def without_verdict(sample: Sample, more_wanted: int | None) -> str:
    """Say what was weighed, and how many more pieces a verdict needs; None is before the run."""
    found = _("The average of %(pieces)s is %(average)s; the label says %(label)s.") % {
        "pieces": words.pieces(sample.pieces),
        "average": _grams(sample.average_g, 2),
        "label": _label(sample.labelled_g),
    }
    if more_wanted is None:
        told = _("This was weighed before the run, so it has no verdict.")
    elif more_wanted:
        told = _("There is no verdict yet: weigh %(more)s more.") % {
            "more": words.pieces(more_wanted)
        }
    else:
        told = _("This rule has no verdict on a lot of one piece.")
    return f"{found} {told}"


def _sample(verdict: FillVerdict) -> str:
    return _(
        "For a lot of %(pieces)s you must weigh %(wanted)s. You weighed only %(weighed)s: "
        "weigh %(more)s more."
    ) % {
        "pieces": words.pieces(verdict.lot_size),
        "wanted": verdict.sample_size_wanted,
        "weighed": verdict.sample_size,
        "more": verdict.sample_size_wanted - verdict.sample_size,
    }


def _average(verdict: FillVerdict) -> str:
    figures = {
        "pieces": words.pieces(verdict.sample_size),
        "average": _grams(verdict.average_g, 2),
        "wanted": _grams(verdict.average_limit_g, 2),
        "label": _label(verdict.labelled_g),
        "correction": _grams(verdict.correction_g, 2),
    }
    if verdict.sample_correction_factor is None:
        return (
            _(
                "The only piece of the lot has %(average)s of honey. It may be below "
                "%(label)s by the allowed variation."
            )
            % figures
        )
    if "average" in verdict.faults:
        return (
            _(
                "The average of %(pieces)s is %(average)s. That is below the %(wanted)s "
                "required: %(label)s less %(correction)s, because only a sample was "
                "weighed."
            )
            % figures
        )
    return (
        _(
            "The average of %(pieces)s is %(average)s. That reaches the %(wanted)s "
            "required: %(label)s less %(correction)s, because only a sample was weighed."
        )
        % figures
    )


def _pieces(verdict: FillVerdict) -> str:
    figures = {
        "found": words.pieces(verdict.pieces_below_limit),
        "limit": _label(verdict.limit_g),
        "allowed": verdict.pieces_allowed_below_limit,
        "found_last": verdict.pieces_below_second_limit,
    }
    if verdict.second_limit_g is None:
        return _("Below %(limit)s: %(found)s found, %(allowed)s allowed.") % figures
    return _(
        "Below %(limit)s: %(found)s found, %(allowed)s allowed. Below %(last_limit)s: "
        "%(found_last)s found, 0 allowed."
    ) % (figures | {"last_limit": _label(verdict.second_limit_g)})


def _label(grams: float) -> str:
    """Write a weight to a hundredth of a gram, or as short as it is: 454 g, 434.1 g, 453.59 g."""
    _whole, _point, decimals = f"{round(Decimal(str(grams)), 2).normalize():f}".partition(".")
    return _grams(grams, len(decimals))


def _grams(grams: float, decimals: int) -> str:
    return words.grams(Decimal(str(grams)), decimals)

"""The verdict of a fill check in the reader's language; the physics says it in English alone."""

from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.physics.fill_check import FillCheck
from inventory.shared import words


def sentence(verdict: FillCheck) -> str:
    """Say whether the lot passed, and what that rests on: the average and the lightest pieces."""
    sentences = [_("Passed.") if verdict.passed else _("Failed.")]
    if "sample_too_small" in verdict.faults:
        sentences.append(_sample(verdict))
    sentences.append(_average(verdict))
    sentences.append(_pieces(verdict))
    return " ".join(sentences)


def _sample(verdict: FillCheck) -> str:
    return _(
        "A lot of %(pieces)s wants %(wanted)s weighed, and only %(weighed)s were: "
        "weigh %(more)s more."
    ) % {
        "pieces": words.pieces(verdict.lot_size),
        "wanted": verdict.sample_size_wanted,
        "weighed": verdict.sample_size,
        "more": verdict.sample_size_wanted - verdict.sample_size,
    }


def _average(verdict: FillCheck) -> str:
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
                "The one piece of the lot holds %(average)s; "
                "it may be short of %(label)s by the allowed variation."
            )
            % figures
        )
    if "average" in verdict.faults:
        return (
            _(
                "The average of %(pieces)s, %(average)s, is under the %(wanted)s wanted: "
                "%(label)s less %(correction)s for the chance of sampling."
            )
            % figures
        )
    return (
        _(
            "The average of %(pieces)s, %(average)s, reaches the %(wanted)s wanted: "
            "%(label)s less %(correction)s for the chance of sampling."
        )
        % figures
    )


def _pieces(verdict: FillCheck) -> str:
    figures = {
        "found": words.pieces(verdict.pieces_below_limit),
        "limit": _label(verdict.limit_g),
        "allowed": verdict.pieces_allowed_below_limit,
        "found_last": verdict.pieces_below_second_limit,
    }
    if verdict.second_limit_g is None:
        return _("Found %(found)s under %(limit)s, where %(allowed)s may be.") % figures
    return _(
        "Found %(found)s under %(limit)s, where %(allowed)s may be, "
        "and %(found_last)s under %(last_limit)s, where none may be."
    ) % (figures | {"last_limit": _label(verdict.second_limit_g)})


def _label(grams: float) -> str:
    """Write a weight to a hundredth of a gram, or as short as it is: 454 g, 434.1 g, 453.59 g."""
    shortest = round(Decimal(str(grams)), 2).normalize()
    return _grams(grams, max(0, -shortest.as_tuple().exponent))


def _grams(grams: float, decimals: int) -> str:
    return words.grams(Decimal(str(grams)), decimals)

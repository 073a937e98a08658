"""Is a lot of filled jars full enough: the American and the European rule for packages.

This is a house check. An official inspection follows the full text, which also says how tares are
taken, and needs a scale that is legal for trade.

Sources.
- United States: NIST Handbook 133, Checking the Net Contents of Packaged Goods. Sampling plans of
  table 2-1 and maximum allowable variations of table 2-5 (both from memory; 113 g and 8 oz also by
  way of a second text). The average must reach the label, less the sample correction factor times
  the standard deviation; no package may be short by more than the maximum allowable variation,
  save one in a sample of 48 (read in outline on nist.gov).
- Europe: Directive 76/211/EEC, annex I 1 and 2.4 and annex II 2.3; Fertigpackungsverordnung § 9(3)
  (read): the average must reach the label, less t at 0.995 times s/√n; at most 2 % of the packages
  may be short by more than the tolerable error, none by more than twice that.
- OIML R 87 for labels over 10 kg (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, NamedTuple

from .lazy import np
from .ranges import Floats, Range, alike
from .student import student_t_quantile
from .units import POUND_GRAMS

Scheme = Literal["us", "eu"]
LabelUnit = Literal["g", "lb"]

LABELLED_G = Range("labelled weight", "g", 0, low_included=False)
EUROPEAN_LABELLED_G = Range("labelled weight", "g", 5)
NET_G = Range("net weight", "g", 0)
LOT_SIZE = Range("lot size", "pieces", 1, 10_000_000)
SAMPLE_SIZE = Range("sample size", "pieces", 2, 1_000_000)

GRAMS_PER_POUND = float(POUND_GRAMS)
# No scale weighs to the microgram: a smaller difference is only float rounding.
DECIMALS_G = 6

# NIST Handbook 133, table 2-5: label up to and including lb, its variation in lb; the same in g.
# The gram columns are cut, not rounded, from the pound columns: they are for metric labels.
# Up to the first row the variation is 10 % of the label, past the last 2 %.
MAV_TABLE = (
    (0.08, None, 36, None),
    (0.12, 0.008, 54, 3.6),
    (0.18, 0.012, 81, 5.4),
    (0.26, 0.016, 117, 7.2),
    (0.34, 0.020, 154, 9.0),
    (0.46, 0.024, 208, 10.8),
    (0.58, 0.028, 263, 12.7),
    (0.70, 0.032, 317, 14.5),
    (0.84, 0.036, 381, 16.3),
    (0.94, 0.040, 426, 18.1),
    (1.08, 0.044, 489, 19.9),
    (1.26, 0.048, 571, 21.7),
    (1.40, 0.052, 635, 23.5),
    (1.54, 0.056, 698, 25.4),
    (1.70, 0.060, 771, 27.2),
    (1.88, 0.064, 852, 29.0),
    (2.14, 0.070, 970, 31.7),
    (2.48, 0.078, 1125, 35.3),
    (2.76, 0.086, 1250, 39.0),
    (3.20, 0.094, 1450, 42.6),
    (3.90, 0.11, 1760, 49.0),
    (4.70, 0.12, 2130, 54.0),
    (5.80, 0.14, 2630, 63.0),
    (6.80, 0.15, 3080, 68.0),
    (7.90, 0.17, 3580, 77.0),
    (9.40, 0.19, 4260, 86.0),
    (11.70, 0.22, 5300, 99.0),
    (14.30, 0.25, 6480, 113.0),
    (17.70, 0.28, 8020, 127.0),
    (23.20, 0.31, 10520, 140.0),
    (31.60, 0.37, 14330, 167.0),
    (42.40, 0.44, 19230, 199.0),
    (54.40, 0.50, 24670, 226.0),
)

# NIST Handbook 133, table 2-1: lots up to so many pieces, the sample, pieces allowed beyond.
LOTS_UP_TO = (11, 250, 3200)
SAMPLES = (12, 24, 48)
PIECES_ALLOWED_BEYOND_MAV = (0, 0, 0, 1)

# Directive 76/211/EEC, annex I 2.4, and OIML R 87 over 10 kg: label up to g, error as a share of
# the label or, where the share is 0, in g.
TOLERABLE_ERRORS = (
    (50, 0.09, 0.0),
    (100, 0.0, 4.5),
    (200, 0.045, 0.0),
    (300, 0.0, 9.0),
    (500, 0.03, 0.0),
    (1_000, 0.0, 15.0),
    (10_000, 0.015, 0.0),
    (15_000, 0.0, 150.0),
    (math.inf, 0.01, 0.0),
)

CONFIDENCE: dict[Scheme, float] = {"us": 0.975, "eu": 0.995}
# Annex II 2.1 and 2.2 of the directive, from memory: 20 pieces at the least of 100 or more.
EUROPEAN_SAMPLE_LEAST = 20
EUROPEAN_PIECES_FOR_ONE_BEYOND = 50  # 2 %


class SamplingPlan(NamedTuple):
    """How many pieces to weigh, and how many of them may be short by more than the MAV."""

    sample_size: Any
    pieces_allowed_beyond_mav: Any


@dataclass(frozen=True)
class FillVerdict:
    """What a sample of net weights says about its lot. Weights are in grams.

    The average must reach `average_limit_g`, the label less `correction_g`, which is
    `sample_correction_factor` × `standard_deviation_g`; both are None for a lot of one piece, which
    answers to `limit_g` alone. `limit_g` is the label less one maximum allowable variation or
    tolerable error; `second_limit_g` less two (Europe only). Below the first may lie
    `pieces_allowed_below_limit`, below the second none. `faults` names what was found wrong, for
    programs: "sample_too_small", "average", "pieces", "pieces_twice"; `reason` says it in words.
    """

    scheme: Scheme
    labelled_g: float
    lot_size: int
    sample_size: int
    sample_size_wanted: int
    average_g: float
    standard_deviation_g: float | None
    sample_correction_factor: float | None
    correction_g: float
    average_limit_g: float
    limit_g: float
    second_limit_g: float | None
    pieces_below_limit: int
    pieces_below_second_limit: int
    pieces_allowed_below_limit: int
    faults: tuple[str, ...]

    @property
    def passed(self) -> bool:
        return not self.faults

    @property
    def overfill_g(self) -> float:
        """What a piece holds beyond its label on the average; negative when it is short."""
        return self.average_g - self.labelled_g

    @property
    def reason(self) -> str:
        """The verdict and what it rests on, in plain English."""
        sentences = [self._average_sentence(), self._pieces_sentence()]
        if "sample_too_small" in self.faults:
            sentences.insert(
                0,
                f"For a lot of {_pieces(self.lot_size)} you must weigh {self.sample_size_wanted}. "
                f"You weighed only {self.sample_size}: weigh "
                f"{self.sample_size_wanted - self.sample_size} more.",
            )
        return " ".join(["Passed." if self.passed else "Failed.", *sentences])

    def _average_sentence(self) -> str:
        if self.sample_correction_factor is None:
            return (
                f"The only piece of the lot has {self.average_g:.2f} g of honey. "
                f"It may be below {self.labelled_g:g} g by the allowed variation."
            )
        verb = "is below" if "average" in self.faults else "reaches"
        return (
            f"The average of {_pieces(self.sample_size)} is {self.average_g:.2f} g. That {verb} "
            f"the {self.average_limit_g:.2f} g required: {self.labelled_g:g} g less "
            f"{self.correction_g:.2f} g, because only a sample was weighed."
        )

    def _pieces_sentence(self) -> str:
        found = (
            f"Below {self.limit_g:g} g: {_pieces(self.pieces_below_limit)} found, "
            f"{self.pieces_allowed_below_limit} allowed."
        )
        if self.second_limit_g is not None:
            found += (
                f" Below {self.second_limit_g:g} g: {self.pieces_below_second_limit} found, "
                "0 allowed."
            )
        return found


def maximum_allowable_variation_g(labelled_g: Any, *, unit: LabelUnit = "g") -> Any:
    """Return by how many grams one package may be short in the United States.

    NIST Handbook 133, table 2-5. `labelled_g` is the label in grams either way; `unit` says which
    columns apply: "g" for a label in grams or kilograms, "lb" for one in pounds or ounces. Raises
    ValueError unless the label is over 0 g.

    >>> maximum_allowable_variation_g(454)
    19.9
    >>> round(maximum_allowable_variation_g(453.59237, unit="lb"), 2)
    19.96
    """
    labelled = LABELLED_G.floats(labelled_g)
    if unit not in ("g", "lb"):
        raise ValueError(f"The unit of the label must be g or lb, not {unit!r}.")
    up_to_lb, variations_lb, up_to_g, variations_g = _columns(MAV_TABLE)
    if unit == "g":
        return alike(_variation(labelled, up_to_g, variations_g))
    pounds = labelled / GRAMS_PER_POUND
    return alike(_variation(pounds, up_to_lb, variations_lb) * GRAMS_PER_POUND)


def _variation(labelled: np.ndarray, up_to: np.ndarray, variations: np.ndarray) -> np.ndarray:
    # Nine decimals find the row, so that 1.08 lb, turned to grams and back, stays in its own.
    row = np.searchsorted(up_to, np.round(labelled, 9), side="left")
    tabled = variations[np.minimum(row, len(up_to) - 1)]
    return np.where(row == 0, labelled * 0.10, np.where(row == len(up_to), labelled * 0.02, tabled))


def tolerable_negative_error_g(labelled_g: Any) -> Any:
    """Return by how many grams one package may be short in Europe before it counts as short.

    Directive 76/211/EEC, annex I 2.4; percentages are rounded up to 0.1 g. Over 10 kg OIML R 87,
    whose whole-gram rounding of large labels (from memory) is not taken up: a tenth allows less.
    Raises ValueError below 5 g, where neither the directive nor the mark applies.

    >>> tolerable_negative_error_g(125)
    5.7
    """
    labelled = EUROPEAN_LABELLED_G.floats(labelled_g)
    up_to_g, shares, errors_g = _columns(TOLERABLE_ERRORS)
    row = np.searchsorted(up_to_g, labelled, side="left")
    tenths = np.ceil(np.round(labelled * shares[row] * 10, 6))
    return alike(np.where(shares[row] > 0, tenths / 10, errors_g[row]))


def sampling_plan(lot_size: Any) -> SamplingPlan:
    """Return the sample that NIST Handbook 133 wants of a lot (category A, table 2-1).

    1 to 11 pieces are all weighed; up to 250, 12; up to 3,200, 24; over that 48, of which one may
    be short by more than the MAV. Raises ValueError unless the lot is a whole number, 1 or more.

    >>> sample_size, pieces_allowed = sampling_plan(480)
    >>> sampling_plan(480)
    SamplingPlan(sample_size=24, pieces_allowed_beyond_mav=0)
    """
    lot = LOT_SIZE.whole_numbers(lot_size)
    row = np.searchsorted(LOTS_UP_TO, lot, side="left")
    sample = np.where(row == 0, lot, np.array((0, *SAMPLES))[row])
    return SamplingPlan(alike(sample), alike(np.array(PIECES_ALLOWED_BEYOND_MAV)[row]))


def sample_size_wanted(lot_size: Any, scheme: Scheme) -> Any:
    """Return how many pieces a check of a lot should weigh.

    "us": as `sampling_plan`. "eu": 20, the least that the directive takes of a batch, and all
    of fewer. Raises ValueError unless the lot is a whole number, 1 or more.

    >>> sample_size_wanted(480, "eu")
    20
    """
    if _scheme(scheme) == "us":
        return sampling_plan(lot_size).sample_size
    return alike(np.minimum(LOT_SIZE.whole_numbers(lot_size), EUROPEAN_SAMPLE_LEAST))


def sample_correction_factor(sample_size: Any, scheme: Scheme = "us") -> Any:
    """Return t(p, n − 1)/√n for a sample of n: p is 0.975 for "us", 0.995 for "eu".

    Handbook 133 prints it in table 2-1, the directive in annex II 2.3. Raises ValueError for fewer
    than 2 pieces.

    >>> round(sample_correction_factor(12), 3)
    0.635
    """
    sizes = SAMPLE_SIZE.whole_numbers(sample_size)
    confidence = CONFIDENCE[_scheme(scheme)]
    factors = [student_t_quantile(confidence, n - 1) / math.sqrt(n) for n in sizes.ravel().tolist()]
    return alike(np.array(factors).reshape(sizes.shape))


def check_fill(
    labelled_g: float,
    net_weights_g: Any,
    lot_size: int,
    scheme: Scheme,
    *,
    label_unit: LabelUnit = "g",
) -> FillVerdict:
    """Judge a lot by the net weights, in grams, of pieces taken from it at random.

    Under "us" a sample smaller than `sampling_plan` wants cannot pass. Handbook 133 applies its
    factor to lots of 2 to 11 pieces too, though all are weighed (table 2-1 prints factors for
    them); a lot of one piece answers to the MAV alone. Under "eu" two pieces are the least that
    can be judged at all; `sample_size_wanted` says how many should be. The 2 % are taken of the
    pieces weighed, so that fewer than 50 allow none. `label_unit` is that of
    `maximum_allowable_variation_g`.

    Raises ValueError for weights that are no list of numbers of 0 g or more, for one piece out of
    several, for more pieces than the lot has, and for a label or lot size that cannot be.

    >>> check_fill(340, [341, 343, 342, 340, 344, 342], 6, "us").passed
    True
    """
    scheme = _scheme(scheme)
    label = (EUROPEAN_LABELLED_G if scheme == "eu" else LABELLED_G).one(labelled_g)
    lot = int(LOT_SIZE.one(LOT_SIZE.whole_numbers(lot_size)))
    weights = NET_G.floats(net_weights_g)
    if weights.ndim != 1:
        raise ValueError("The net weights must be a list of numbers in g.")
    pieces = weights.size
    if pieces > lot:
        raise ValueError(f"{pieces} pieces were weighed, but the lot has only {lot}.")
    lone = pieces == 1
    if lone and (lot > 1 or scheme == "eu"):
        raise ValueError("One piece shows no spread: weigh at least 2 pieces.")

    if scheme == "us":
        plan = sampling_plan(lot)
        wanted, allowed = plan.sample_size, plan.pieces_allowed_beyond_mav
        short = maximum_allowable_variation_g(label, unit=label_unit)
        second_limit = None
    else:
        wanted, allowed = 2, pieces // EUROPEAN_PIECES_FOR_ONE_BEYOND
        short = tolerable_negative_error_g(label)
        second_limit = round(label - 2 * short, DECIMALS_G)
    limit = round(label - short, DECIMALS_G)

    average = float(weights.mean())
    spread: float | None = None
    factor: float | None = None
    correction, average_limit = 0.0, limit
    if not lone:
        spread = float(weights.std(ddof=1))
        factor = float(sample_correction_factor(pieces, scheme))
        correction = factor * spread
        average_limit = label - correction

    below = int((np.round(weights, DECIMALS_G) < limit).sum())
    below_second = (
        0 if second_limit is None else int((np.round(weights, DECIMALS_G) < second_limit).sum())
    )
    faults = []
    if pieces < wanted:
        faults.append("sample_too_small")
    if not lone and round(average - average_limit, DECIMALS_G) < 0:
        faults.append("average")
    if below > allowed:
        faults.append("pieces")
    if below_second:
        faults.append("pieces_twice")

    return FillVerdict(
        scheme=scheme,
        labelled_g=label,
        lot_size=lot,
        sample_size=pieces,
        sample_size_wanted=wanted,
        average_g=average,
        standard_deviation_g=spread,
        sample_correction_factor=factor,
        correction_g=correction,
        average_limit_g=average_limit,
        limit_g=limit,
        second_limit_g=second_limit,
        pieces_below_limit=below,
        pieces_below_second_limit=below_second,
        pieces_allowed_below_limit=allowed,
        faults=tuple(faults),
    )


@cache
def _columns(table: tuple[tuple[float | None, ...], ...]) -> tuple[Floats, ...]:
    """Return the columns of a table as arrays."""
    return tuple(np.array(column, dtype=float) for column in zip(*table, strict=True))


def _scheme(scheme: Any) -> Scheme:
    spelt = scheme.lower() if isinstance(scheme, str) else None
    if spelt not in CONFIDENCE:
        raise ValueError(
            'The scheme must be "us" (NIST Handbook 133) or "eu" (Directive 76/211/EEC), '
            f"not {scheme!r}."
        )
    return spelt


def _pieces(count: int) -> str:
    return "1 piece" if count == 1 else f"{count} pieces"

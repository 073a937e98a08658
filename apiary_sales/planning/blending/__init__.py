"""Which honeys to pour together for a buyer, at the least value: a linear programme, no Django.

    choose   whole grams from each vessel; all of it or none where drums are used whole
    least    the value of the honey that goes in
    within   the honey of each vessel, the weight, and the colour and moisture of the mixture, as
             mass-weighted means

    problem    what the blend depends on, in whole figures
    search     HiGHS, through SciPy, in floats
    proof      the best blend: what the search found, in whole grams, checked exactly
    ways_out   what stands in the way where there is no blend, and how near it can come

Weights are in grams, values in cents a gram, colours in tenths of a millimetre Pfund, moisture in
hundredths of a percent, so that every check is one of whole numbers.
"""

from apiary_sales.planning.blending.problem import (
    BlendProblem,
    BlendSource,
    LimitName,
    Mixture,
    Span,
)
from apiary_sales.planning.blending.proof import BlendAnswer, solve
from apiary_sales.planning.blending.ways_out import Reach, WayOut, reach, ways_out

__all__ = [
    "BlendAnswer",
    "BlendProblem",
    "BlendSource",
    "LimitName",
    "Mixture",
    "Reach",
    "Span",
    "WayOut",
    "reach",
    "solve",
    "ways_out",
]

"""What to bottle and what to sell in drums: an integer programme in exact figures, no Django.

    choose   whole pieces of each product from each vessel, whole drums from each vessel
    earn     jars at what each buyer pays, drums at the bid, less parts, labour, set-up and selling
    within   the honey of each vessel, the parts in stock and to be had, the minutes of work,
             and what each buyer takes

The honey itself is there already: it costs the same whichever way it is sold, so it is left out.

    problem   what the plan depends on: honey, products, buyers, parts, labour
    pools     vessels that are alike, taken together, and shared out again
    table     the same as columns and rows, in fractions
    search    HiGHS, through SciPy, in floats
    plan      whole pieces and drums, and what follows from them, in fractions
    proof     the best plan: what the search found, checked, with what could be earned at most
    limits    what more of each limit is worth

Money is in cents, honey in grams, work in minutes.
"""

from apiary_sales.planning.programme.limits import Limit, limits_of
from apiary_sales.planning.programme.plan import Plan, all_in_drums
from apiary_sales.planning.programme.pools import VesselPool, pools_of
from apiary_sales.planning.programme.problem import (
    HOUR_MINUTES,
    POUND_GRAMS,
    Figure,
    Honey,
    Need,
    Part,
    PlannedBuyer,
    PlannedProduct,
    Programme,
    Remainder,
    less_on_hand,
)
from apiary_sales.planning.programme.proof import (
    Answer,
    Relaxation,
    in_order,
    relax,
    solve,
    solve_with_sales,
)

__all__ = [
    "HOUR_MINUTES",
    "POUND_GRAMS",
    "Answer",
    "Figure",
    "Honey",
    "Limit",
    "Need",
    "Part",
    "Plan",
    "PlannedBuyer",
    "PlannedProduct",
    "Programme",
    "Relaxation",
    "Remainder",
    "VesselPool",
    "all_in_drums",
    "in_order",
    "less_on_hand",
    "limits_of",
    "pools_of",
    "relax",
    "solve",
    "solve_with_sales",
]

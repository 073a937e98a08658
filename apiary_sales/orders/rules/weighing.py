"""How a weight that is sold was found: on a scale with or without a tare, or from a volume.

What is billed is always the weight. A volume becomes one by the density at the honey's moisture
and temperature, never by a fixed weight of a gallon.
"""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from apiary_sales.orders.models import OrderLine
from inventory.shared import checks, words
from inventory.shared.errors import Problems
from inventory.stock import density
from inventory.stock.models import Lot

# A weight so close to what was ordered counts as all of it: nobody draws to the gram.
TOLERANCE_PERCENT = 5


@dataclass(frozen=True)
class Weighed:
    """A net weight in grams, and what it was worked out from."""

    net_grams: int
    gross_grams: int | None = None
    tare_grams: int | None = None
    millilitres: int | None = None
    celsius: Decimal | None = None
    moisture_percent: Decimal | None = None
    uncertainty_grams: int | None = None


def on_scale(*, gross_grams: int, tare_grams: int) -> Weighed:
    """Return what is in a container that was weighed full and empty."""
    return Weighed(gross_grams - tare_grams, gross_grams=gross_grams, tare_grams=tare_grams)


def by_volume(litres: Decimal, *, lot: Lot, celsius: Decimal) -> Weighed:
    """Return what a volume of a lot weighs at a temperature.

    Raises `ValueError`, in words for people, outside the density's range.
    """
    moisture = lot.honey_moisture
    weight = density.grams_of(litres, moisture_percent=moisture, celsius=celsius)
    return Weighed(
        weight.grams,
        millilitres=int(litres * 1000),
        celsius=celsius,
        moisture_percent=moisture,
        uncertainty_grams=weight.uncertainty_grams,
    )


def check(problems: Problems, parameter: str, weighed: Weighed) -> bool:
    """Collect what is wrong with a weight: a tare as heavy as the whole, nothing, or too much.

    Return whether it is right.
    """
    gross, tare = weighed.gross_grams, weighed.tare_grams
    if gross is not None and tare is not None and (tare < 0 or gross <= tare):
        problems.add(
            parameter,
            _("The full container must weigh more than the empty one. Check gross and tare."),
        )
        return False
    checks.check_grams(problems, parameter, weighed.net_grams)
    return 0 < weighed.net_grams <= checks.GRAMS_MAX


def is_all_of(net_grams: int, left_grams: int) -> bool:
    """Tell whether a weight counts as all that is left of a line.

    >>> is_all_of(950, 1000), is_all_of(949, 1000), is_all_of(1050, 1000), is_all_of(1051, 1000)
    (True, False, True, False)
    """
    return abs(net_grams - left_grams) * 100 <= left_grams * TOLERANCE_PERCENT


def too_much(line: OrderLine, net_grams: int) -> str:
    asked, left = words.weights_apart(net_grams, line.to_fill)
    return _(
        "Too much of %(what)s. Weighed: %(asked)s. Left to hand over: %(left)s. A weight up to "
        "%(percent)s %% above that counts as all of it. Take the rest back, "
        "or make a new order for what is over."
    ) % {"what": line.description, "asked": asked, "left": left, "percent": TOLERANCE_PERCENT}

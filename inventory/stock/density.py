"""Weight from volume and back, in decimals: the border to the physics, which counts in floats."""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.physics import density
from inventory.shared import words

REFERENCE_CELSIUS = Decimal(20)


@dataclass(frozen=True)
class WeighedVolume:
    """What a volume of honey weighs, and how far that can be wrong.

    `uncertainty_grams` is a bound: of the density tables and, for a dip, of the stick's reading,
    which is `stick_grams` of it.
    """

    litres: Decimal
    grams: int
    uncertainty_grams: int
    stick_grams: int = 0


def grams_of(
    litres: Decimal,
    *,
    moisture_percent: Decimal,
    celsius: Decimal,
    stick_litres: Decimal = Decimal(0),
) -> WeighedVolume:
    """Return the weight of `litres` of honey at this moisture and temperature.

    `stick_litres` is how far the volume itself can be wrong; see `dip_weights`.
    Raises `ValueError`, in words for people, outside the density's range.
    """
    _check_temperature(celsius)
    kg_per_l = density.density_kg_per_l(float(moisture_percent), float(celsius))
    wrong_by = density.density_uncertainty_kg_per_l(float(moisture_percent), float(celsius))
    stick_grams = round(stick_litres * Decimal(str(kg_per_l)) * 1000)
    return WeighedVolume(
        litres=litres,
        grams=round(litres * Decimal(str(kg_per_l)) * 1000),
        uncertainty_grams=round(litres * Decimal(str(wrong_by)) * 1000) + stick_grams,
        stick_grams=stick_grams,
    )


def litres_of(
    grams: int | Decimal, *, moisture_percent: Decimal, celsius: Decimal = REFERENCE_CELSIUS
) -> Decimal:
    """Return the litres that `grams` of honey fill, to a millilitre.

    Raises `ValueError`, in words for people, outside the density's range.
    """
    _check_temperature(celsius)
    kg_per_l = density.density_kg_per_l(float(moisture_percent), float(celsius))
    return (Decimal(grams) / 1000 / Decimal(str(kg_per_l))).quantize(Decimal("0.001"))


def _check_temperature(celsius: Decimal) -> None:
    low, high = (Decimal(end) for end in (density.CELSIUS.low, density.CELSIUS.high))
    if not low <= celsius <= high:
        raise ValueError(
            _(
                "The weight of honey can be worked out only from %(low)s to %(high)s; "
                "%(typed)s was entered. Check the figure and its unit."
            )
            % {
                "low": words.temperature(low),
                "high": words.temperature(high),
                "typed": words.temperature(celsius),
            }
        )

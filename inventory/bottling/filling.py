"""Filling jars, as arithmetic: what a weight needs in room, where drawn honey went, the dates."""

import calendar
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory.bottling.models import ContainerSize
from inventory.stock import density

# Honey that should be in the jars may be out by this share before the figures are impossible:
# a scale, a dip stick and the honey in the pipes are never further out than this together.
SHORTFALL_MAX = Fraction(1, 10)
# More honey drawn than the pieces hold, by more than this share, is asked about.
EXCESS_ASKED = Fraction(1, 4)


@dataclass(frozen=True)
class Fit:
    """The room a declared weight needs at one temperature, beside what the container holds."""

    container: ContainerSize
    celsius: Decimal
    needed_ml: Decimal
    uncertainty_ml: Decimal

    @property
    def fits(self) -> bool:
        return self.needed_ml <= self.container.brimful_ml

    @property
    def is_close(self) -> bool:
        """It fits, but by less than the density tables can be wrong."""
        return self.fits and self.needed_ml + self.uncertainty_ml > self.container.brimful_ml

    @property
    def sentence(self) -> str:
        """Say whether the weight fits at this temperature, with the two volumes."""
        figures = {
            "weight": declared(self.container),
            "needed": volume(self.needed_ml),
            "temperature": temperature(self.celsius),
            "size": self.container.name,
            "brimful": volume(self.container.brimful_ml),
        }
        if not self.fits:
            return (
                _(
                    "%(weight)s of this honey needs %(needed)s at %(temperature)s; "
                    "%(size)s holds %(brimful)s to the brim: it does not fit."
                )
                % figures
            )
        if self.is_close:
            return (
                _(
                    "%(weight)s of this honey needs %(needed)s at %(temperature)s; "
                    "%(size)s holds %(brimful)s to the brim: it fits by a hair. Try one first."
                )
                % figures
            )
        return (
            _(
                "%(weight)s of this honey needs %(needed)s at %(temperature)s; "
                "%(size)s holds %(brimful)s to the brim: it fits."
            )
            % figures
        )


@dataclass(frozen=True)
class Shares:
    """Where the drawn honey of a run went, in whole grams; the parts add up to `drawn_grams`."""

    drawn_grams: int
    loss_grams: int
    broken_grams: int

    @property
    def packed_grams(self) -> int:
        return self.drawn_grams - self.loss_grams - self.broken_grams


def fit(container: ContainerSize, *, moisture_percent: Decimal, celsius: Decimal) -> Fit:
    """Work out whether the declared weight of honey of this moisture goes into the container.

    Raises `ValueError` with range and unit for a temperature outside the density's range.
    """
    grams = container.declared_grams
    litres = density.litres_of(grams, moisture_percent=moisture_percent, celsius=celsius)
    weighed = density.grams_of(litres * 1000, moisture_percent=moisture_percent, celsius=celsius)
    share = Decimal(weighed.uncertainty_grams) / weighed.grams
    needed_ml = litres * 1000
    return Fit(container, celsius, needed_ml, (needed_ml * share).quantize(Decimal("0.1")))


def fits(container: ContainerSize, *, moisture_percent: Decimal, celsius: Decimal) -> list[Fit]:
    """Return the fit at the filling temperature and at 20 °C, where the honey ends up."""
    temperatures = dict.fromkeys([celsius, density.REFERENCE_CELSIUS])
    return [
        fit(container, moisture_percent=moisture_percent, celsius=degrees)
        for degrees in temperatures
    ]


def grams_needed(container: ContainerSize, pieces: int) -> int:
    """Return the whole grams that so many pieces need to reach their label, rounded up."""
    return int((pieces * container.declared_grams).to_integral_value(ROUND_CEILING))


def share_out(
    container: ContainerSize, *, drawn_grams: int, loss_grams: int, pieces_broken: int
) -> Shares:
    """Share the drawn honey out: lost, in broken pieces (each at its label weight), the rest."""
    broken = pieces_broken * container.declared_grams
    return Shares(drawn_grams, loss_grams, int(broken.to_integral_value(ROUND_HALF_EVEN)))


def is_impossible(container: ContainerSize, shares: Shares, pieces_filled: int) -> bool:
    """Tell whether far too little honey was left for the pieces said to be filled."""
    label_grams = Fraction(container.declared_grams) * pieces_filled
    return shares.packed_grams <= 0 or shares.packed_grams < label_grams * (1 - SHORTFALL_MAX)


def is_excessive(container: ContainerSize, shares: Shares, pieces: int) -> bool:
    """Tell whether far more honey was drawn than the pieces, broken ones included, can hold."""
    return shares.drawn_grams > Fraction(container.declared_grams) * pieces * (1 + EXCESS_ASKED)


def best_by(day: date, months: int) -> date:
    """Return the last day of the month that lies `months` after `day`."""
    years, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(years, month + 1, calendar.monthrange(years, month + 1)[1])


def declared(container: ContainerSize) -> str:
    """Write the declared weight as its label is typed: "12 lb", "500 g"."""
    amount = container.declared_amount.normalize()
    return f"{_number(amount, max(0, -amount.as_tuple().exponent))} {container.declared_unit}"


def volume(millilitres: Decimal) -> str:
    """Write a small volume: "320 ml", and from a litre on "3.86 L"."""
    if millilitres < 1000:
        return _("%(number)s ml") % {"number": _number(millilitres, 0)}
    return _("%(number)s L") % {"number": _number(millilitres / 1000, 2)}


def small_weight(grams: Decimal) -> str:
    """Write a weight that a jar scale tells: "454.2 g"."""
    return _("%(number)s g") % {"number": _number(grams, 1)}


def temperature(celsius: Decimal) -> str:
    """Write a temperature both ways: "90 °F (32 °C)"."""
    fahrenheit = Decimal(celsius) * 9 / 5 + 32
    return f"{_number(fahrenheit, 0)} °F ({_number(Decimal(celsius), 0)} °C)"


def _number(number: Decimal, decimals: int) -> str:
    return number_format(round(Decimal(number), decimals), decimals, force_grouping=True)

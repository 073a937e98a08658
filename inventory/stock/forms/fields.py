"""Fields of the forms about honey, and figures as a form shows them."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Exists, OuterRef
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.physics import units
from inventory.physics.units import GALLON_LITRES
from inventory.shared import conventions, weights, words
from inventory.shared.forms.fields import CodeChoiceField, LengthField, decimal_sign
from inventory.shared.typed import Mistyped, read_number
from inventory.stock.models import Balance, Place, ProductionSettings
from inventory.stock.queries import honey
from inventory.stock.services import places

CHOOSE_A_VESSEL = _("Choose a vessel")


def usual_temperature() -> tuple[Decimal | int, str]:
    """Return the usual temperature of the honey house, as a form's initial value."""
    return as_temperature(ProductionSettings.current().honey_house_celsius)


def as_temperature(celsius: Decimal) -> tuple[Decimal | int, str]:
    """Return a temperature in whole °F, or °C, with its unit, as a form's initial value."""
    if conventions.current().is_metric:
        return plain(Decimal(celsius), 1), "C"
    return round(units.fahrenheit(Decimal(celsius))), "F"


def as_weight(grams: int) -> tuple[Decimal, str]:
    """Return grams in the house's unit, with the fewest decimals that come back as the same gram.

    Three are always enough: 272,155 g are 600 lb, not 599.999.
    """
    weight, each = weights.in_units(grams), weights.unit_grams()
    shortest = (plain(weight, decimals) for decimals in range(4))
    return next(
        short for short in shortest if units.round_grams(short * each) == grams
    ), conventions.current().weight_unit


def as_length(mm: int) -> tuple[Decimal, str]:
    """Return millimetres for a form, in inches or cm, as come back as the same millimetre."""
    unit = conventions.current().length_unit
    return plain(Decimal(mm) / LengthField.MILLIMETRES[unit], 2), unit


def as_volume(litres: Decimal) -> tuple[Decimal, str]:
    """Return litres for a form, in gallons or litres, as come back as the same millilitre."""
    if conventions.current().is_metric:
        return plain(litres, 3), "L"
    return plain(litres / GALLON_LITRES, 4), "gal"


def plain(number: Decimal, places: int) -> Decimal:
    """Round a number and drop the zeros it ends in, without powers of ten."""
    return Decimal(f"{round(number, places).normalize():f}")


def between_points() -> str:
    """Return what parts the depth from the litres: a comma, unless it is the decimal sign."""
    return ";" if decimal_sign() == "," else ","


def moisture_is_right_field() -> forms.BooleanField:
    """Return the box that confirms honey above the house's limit of moisture."""
    return forms.BooleanField(label=_("Yes, use this honey all the same"), required=False)


def note_field() -> forms.CharField:
    return forms.CharField(label=_("Note"), max_length=200, required=False)


def may_be_fed_field() -> forms.BooleanField:
    return forms.BooleanField(
        label=_("It may be fed: I know that it has no spores of foulbrood in it"), required=False
    )


def is_asked(form: forms.Form, name: str) -> bool:
    """Tell whether a form that was sent must show a field that confirms something."""
    return form.is_bound and bool(form.errors.get(name) or form[name].value())


class VesselField(CodeChoiceField):
    """A vessel in use, chosen by its short name and shown with what is in it.

    `filled` offers those that have honey, `of_others` those that have another beekeeper's; with
    `of_any_day` also those that had it and are empty by now, at the end of the list, since an act
    may be of an earlier day.
    """

    def __init__(
        self,
        *,
        kinds: Iterable[str] = Place.VESSELS,
        filled: bool = False,
        of_others: bool = False,
        of_any_day: bool = False,
        empty_label: str | Promise | None = CHOOSE_A_VESSEL,
        **kwargs: Any,
    ) -> None:
        gone = (
            _("That vessel is empty now. Choose one from the list.")
            if filled or of_others
            else _("That vessel is not in use. Choose one from the list.")
        )
        # Tanks before drums; what is in them is read whenever the list is shown or chosen from.
        found = honey.vessel_places().filter(kind__in=list(kinds)).order_by("-kind", "code")
        if of_any_day:
            # Asked for by the item, all honey that ever was in the house would be gone through.
            honey_there = Balance.objects.filter(place=OuterRef("pk"), is_vessel=True)
            if of_others:
                honey_there = honey_there.filter(lot__owner__isnull=False)
                theirs = Balance.objects.filter(is_vessel=True, lot__owner__isnull=False)
                found = found.filter(pk__in=theirs.values("place"))
            else:
                found = found.filter(Exists(honey_there))
            found = found.order_by(
                Exists(honey_there.filter(quantity__gt=0)).desc(), "-kind", "code"
            )
        elif filled:
            found = found.filter(balances__quantity__gt=0, balances__is_vessel=True).distinct()
        elif of_others:
            found = found.filter(
                balances__quantity__gt=0, balances__lot__owner__isnull=False
            ).distinct()
        super().__init__(
            queryset=found,
            empty_label=empty_label,
            error_messages={"required": _("Choose a vessel."), "invalid_choice": gone},
            **kwargs,
        )
        self.filled = filled or of_others
        self.of_others = of_others

    def label_from_instance(self, place: Place) -> str:
        if not place.contents:
            return _("%(place)s: empty") % {"place": place.name}
        there = place.contents[0]
        told = self._contents_in_words(place, there)
        if there.honey_lot.is_on_hold:
            return _("%(vessel)s. ON HOLD") % {"vessel": told}
        return told

    def _contents_in_words(self, place: Place, there: Balance) -> str:
        if owner := there.honey_lot.owner:
            return _("%(place)s: %(weight)s of %(lot)s, belongs to %(owner)s") % {
                "place": place.name,
                "weight": words.weight(there.quantity),
                "lot": there.honey_lot.code,
                "owner": owner,
            }
        return _("%(place)s: %(weight)s of %(lot)s, %(source)s") % {
            "place": place.name,
            "weight": words.weight(there.quantity),
            "lot": there.honey_lot.code,
            "source": there.honey_lot.floral_source,
        }


class PointsField(forms.CharField):
    """A calibration table typed line by line, "depth, litres"; comes out as pairs of mm and L.

    The depth is in the unit chosen beside the table, which `unit` holds when `clean` runs.
    """

    unit = "cm"
    # A line for each millimetre of a tall tank.
    LINES_MAX = 5_000

    def __init__(self, **kwargs) -> None:
        super().__init__(
            widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
            strip=True,
            **kwargs,
        )

    def to_python(self, value):
        lines = super().to_python(value).splitlines()
        if len(lines) > self.LINES_MAX:
            raise ValidationError(
                gettext("That is too much. Enter at most %(most)s lines.")
                % {"most": words.number(self.LINES_MAX)}
            )
        return [
            self._point(number, line) for number, line in enumerate(lines, start=1) if line.strip()
        ]

    def _point(self, number: int, line: str) -> tuple[int, Decimal]:
        # Where a comma marks thousands, a semicolon or a tab may part the two.
        between = next((mark for mark in ";\t" if mark in line), between_points())
        try:
            depth, litres = (
                read_number(part, decimal_sign=decimal_sign()) for part in line.split(between)
            )
        except (Mistyped, ValueError):
            raise self._wrong(number, self._example()) from None
        if depth < 0 or litres < 0:
            raise self._wrong(number, _("Line %(number)s: enter a depth and litres of 0 or more."))
        depth_mm = depth * LengthField.MILLIMETRES[self.unit]
        if depth_mm > places.MEASURE_MM_MAX or litres > places.CAPACITY_LITRES_MAX:
            raise self._wrong(
                number, _("Line %(number)s: no tank is so deep or so large. Check the figures.")
            )
        return round(depth_mm), litres.quantize(Decimal("0.001"))

    @staticmethod
    def _example() -> str:
        if between_points() == ",":
            return gettext(
                "Line %(number)s: write a depth, a comma, and litres, for example 10, 125.5."
            )
        return gettext(
            "Line %(number)s: write a depth, a semicolon, and litres, for example 10; 125,5."
        )

    @staticmethod
    def _wrong(number: int, message) -> ValidationError:
        return ValidationError(message, code="line", params={"number": number})

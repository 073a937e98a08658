"""The form of an extraction: what the honey is, and how much, however it was measured."""

from dataclasses import dataclass
from decimal import Decimal

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared import words
from inventory.shared.errors import BadValue, HouseError, parameters_named
from inventory.shared.forms.fields import (
    DayField,
    LengthField,
    MoneyField,
    NumberField,
    TemperatureField,
    VolumeField,
    WeightField,
    WholeNumberField,
)
from inventory.stock import density, vessels
from inventory.stock.forms.fields import VesselField, note_field, plain, usual_temperature
from inventory.stock.forms.honey import HoneyForm
from inventory.stock.forms.measurements import METHODS, index_read
from inventory.stock.models import Balance, ProductionSettings
from inventory.stock.services import lots


@dataclass(frozen=True)
class HoneyWeighed:
    """Honey weighed, and the sentence that says how; `uncertainty_grams` is 0 by a scale."""

    grams: int
    uncertainty_grams: int
    litres: Decimal
    how: str


class ReceiveForm(HoneyForm):
    """An extraction: what the honey is, and how much, by scale, by volume or by dip."""

    class MeasuredBy:
        SCALE, VOLUME, DIP = "scale", "volume", "dip"
        choices = [
            (SCALE, _("on a scale")),
            (VOLUME, _("by volume")),
            (DIP, _("by dipping the tank")),
        ]

    fields_of_parameters = {
        "grams": "weight",
        "moisture_percent": "moisture",
        "cost_cents": "cost",
    }
    one_of_several = (
        *("moisture", "refractive_index", "brix"),
        *("weight", "volume", "depth", "honey_celsius"),
    )

    place = VesselField(label=_("Into"))
    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        help_text=_("For example clover, or wildflower."),
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    yard = forms.CharField(label=_("Yard or area"), max_length=120, required=False)
    season = WholeNumberField(label=_("Season"))
    extracted_on = DayField(label=_("Extracted on"))
    moisture = NumberField(
        label=_("Moisture, percent"),
        max_digits=5,
        decimal_places=2,
        required=False,
    )
    refractive_index = NumberField(
        label=_("Refractometer index"),
        max_digits=6,
        decimal_places=5,
        required=False,
        help_text=_("Instead of percent, for example 1.4930."),
    )
    brix = NumberField(
        label=_("Reading in °Brix"),
        max_digits=4,
        decimal_places=2,
        required=False,
        help_text=_("Instead of percent, for example 81.5."),
    )
    refractometer_celsius = TemperatureField(
        label=_("Temperature of that reading"),
        required=False,
        help_text=_("Leave empty for 68 °F (20 °C)."),
    )
    moisture_method = forms.ChoiceField(
        label=_("How the moisture was measured"), required=False, choices=METHODS
    )
    colour_mm = NumberField(
        label=_("Colour, mm Pfund"),
        max_digits=5,
        decimal_places=1,
        required=False,
    )
    colour_method = forms.ChoiceField(
        label=_("How the colour was measured"), required=False, choices=METHODS
    )
    measured_by = forms.ChoiceField(
        label=_("How it was measured"),
        choices=MeasuredBy.choices,
        initial=MeasuredBy.SCALE,
        widget=forms.RadioSelect,
    )
    weight = WeightField(label=_("Weight on the scale"), required=False)
    volume = VolumeField(label=_("Volume"), required=False)
    depth = LengthField(label=_("Dip after"), required=False)
    depth_before = LengthField(
        label=_("Dip before"),
        required=False,
        help_text=_("Only when the tank was not empty."),
    )
    honey_celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    cost = MoneyField(
        label=_("What it cost"),
        required=False,
        help_text=_(
            "The cost of all this honey together, used for margins. You can leave it empty."
        ),
    )
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        today = timezone.localdate()
        self.fields["season"].initial = str(today.year)
        self.fields["extracted_on"].initial = today
        self.fields["honey_celsius"].initial = usual_temperature()

    def clean(self) -> dict:
        """Add `moisture_known`, in percent, and `measured`, the weight however it was found."""
        data = super().clean() or {}
        for name, find in (("moisture_known", self._moisture), ("measured", self._measured)):
            try:
                data[name] = find(data)
            except HouseError as error:
                data[name] = None
                self.refuse(error)
        return data

    def _moisture(self, data: dict) -> Decimal | None:
        # A moisture in percent goes before a reading, so that both are told where both are wrong.
        readings = [name for name in ("refractive_index", "brix") if name in self.errors]
        if "moisture" in self.errors or (readings and data.get("moisture") is None):
            return None
        return lots.moisture_known(
            data.get("moisture"), index_read(data), data.get("refractometer_celsius")
        )

    def _measured(self, data: dict) -> HoneyWeighed | None:
        """Return the weight that was measured; raises the error of the field that is missing."""
        by = data.get("measured_by")
        if by == self.MeasuredBy.SCALE:
            return self._weighed(data)
        if by == self.MeasuredBy.VOLUME:
            if data.get("volume") is None:
                self._miss("volume", _("Enter the volume."))
                return None
            return self._by_density(data, data["volume"])
        if by == self.MeasuredBy.DIP and data.get("place"):
            litres = self._dipped_litres(data)
            if litres is None:
                return None
            mark_mm = ProductionSettings.current().stick_mark_mm
            stick_litres = sum(
                vessels.stick_litres(data["place"], depth_mm, mark_mm)
                for depth_mm in (data["depth"], data.get("depth_before"))
                if depth_mm
            )
            return self._by_density(data, litres, Decimal(stick_litres))
        return None

    def _weighed(self, data: dict) -> HoneyWeighed | None:
        if data.get("weight") is None:
            self._miss("weight", _("Enter the weight."))
            return None
        if data["moisture_known"] is None:
            return None
        litres = density.litres_of(data["weight"], moisture_percent=data["moisture_known"])
        return HoneyWeighed(data["weight"], 0, litres, "")

    def _dipped_litres(self, data: dict) -> Decimal | None:
        place, depth_mm, before_mm = data["place"], data.get("depth"), data.get("depth_before")
        if depth_mm is None:
            self._miss("depth", _("Enter the depth of the honey."))
            return None
        with parameters_named(depth_mm="depth"):
            after = vessels.litres_at(place, depth_mm)
        there = Balance.objects.in_vessel(place)
        if before_mm is None and there:
            raise BadValue(
                _(
                    "%(place)s already had %(there)s in it. Enter the dip before as well, "
                    "so that only the new honey is counted."
                )
                % {"place": place.name, "there": words.weight(there.quantity)},
                parameter="depth_before",
            )
        if not before_mm:
            return after
        with parameters_named(depth_mm="depth_before"):
            before = vessels.litres_at(place, before_mm)
        if before >= after:
            raise BadValue(
                _(
                    "The dip after, %(after)s, must be deeper than the dip before, "
                    "%(before)s. Check both figures."
                )
                % {"after": words.depth(depth_mm), "before": words.depth(before_mm)},
                parameter="depth",
            )
        return after - before

    def _by_density(
        self, data: dict, litres: Decimal, stick_litres: Decimal = Decimal(0)
    ) -> HoneyWeighed | None:
        moisture, celsius = data["moisture_known"], data.get("honey_celsius")
        if celsius is None:
            self._miss("honey_celsius", _("Enter the temperature: the weight depends on it."))
        if moisture is None or celsius is None:
            return None
        try:
            weighed = density.grams_of(
                litres,
                moisture_percent=moisture,
                celsius=celsius,
                stick_litres=stick_litres,
            )
        except ValueError as error:
            raise BadValue(str(error), parameter="honey_celsius") from error
        how = _(
            "Weight worked out from %(gallons)s (%(litres)s L) at %(moisture)s %% "
            "moisture, %(temperature)s; give or take %(uncertainty)s."
        ) % {
            "gallons": words.volume(litres),
            "litres": litres.quantize(Decimal("0.1")),
            "moisture": plain(moisture, 2),
            "temperature": words.temperature(celsius),
            "uncertainty": words.weight(weighed.uncertainty_grams),
        }
        return HoneyWeighed(weighed.grams, weighed.uncertainty_grams, litres, how)

    def _miss(self, name: str, message) -> None:
        if name not in self.errors:
            self.add_error(name, message)

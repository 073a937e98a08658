"""Forms of honey that comes in from somebody else, in one vessel or several."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.errors import HouseError
from inventory.shared.forms.countries import CountryField
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    TemperatureField,
    WeightField,
    WholeNumberField,
    offer_the_same,
)
from inventory.shared.weights import by_unit
from inventory.stock.forms.fields import VesselField, note_field
from inventory.stock.forms.honey import HoneyForm
from inventory.stock.forms.measurements import index_read
from inventory.stock.forms.suppliers import SupplierNameField
from inventory.stock.services import lots
from inventory.stock.services.arrivals import HoneyFacts, VesselReceived


class DeliveryForm(HoneyForm):
    """What the honey is, and each vessel with its net weight, or its gross weight and tare."""

    LINES = range(1, 13)
    SHOWN_LINES = 1
    fields_of_parameters = {"moisture_percent": "moisture", "vessels": "place_1"}
    one_of_several: tuple[str, ...] = ("moisture", "refractive_index", "brix")

    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        help_text=_("For example clover, or wildflower."),
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    country = CountryField(
        label=_("Country of origin"),
        required=False,
        help_text=_("Where the honey was harvested. Leave empty while you do not know."),
    )
    region = forms.CharField(label=_("Region of origin"), max_length=80, required=False)
    season = WholeNumberField(label=_("Season"))
    received_on = DayField(label=_("Received on"))
    moisture = NumberField(
        label=_("Moisture, percent"), max_digits=5, decimal_places=2, required=False
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
    colour_mm = NumberField(
        label=_("Colour, mm Pfund"), max_digits=5, decimal_places=1, required=False
    )
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        today = timezone.localdate()
        self.fields["season"].initial = str(today.year)
        self.fields["received_on"].initial = today
        for number in self.LINES:
            self.fields[f"place_{number}"] = VesselField(
                label=_("Into"), required=number <= self.SHOWN_LINES
            )
            self.fields[f"net_{number}"] = WeightField(label=_("Net weight"), required=False)
            self.fields[f"gross_{number}"] = WeightField(label=_("Gross weight"), required=False)
            self.fields[f"tare_{number}"] = WeightField(label=_("Tare"), required=False)
            for name in ("net", "gross"):
                self.fields[f"{name}_{number}"].is_one_of_several = True  # type: ignore[attr-defined]
            self.fields[f"tare_{number}"].help_text = _("Leave empty for the weight on record.")
        offer_the_same(self.fields[f"place_{number}"] for number in self.LINES)

    def lines(self) -> list[dict[str, forms.BoundField]]:
        """Return the fields of each vessel."""
        names = ("place", "net", "gross", "tare")
        return [{name: self[f"{name}_{number}"] for name in names} for number in self.LINES]

    def first_lines(self) -> list[dict[str, forms.BoundField]]:
        return self.lines()[: self.SHOWN_LINES]

    def more_lines(self) -> list[dict[str, forms.BoundField]]:
        return self.lines()[self.SHOWN_LINES :]

    def more_lines_used(self) -> bool:
        """Tell whether a vessel beyond the first is filled in."""
        return any(line["place"].value() for line in self.more_lines())

    def clean(self) -> dict[str, Any]:
        """Add `vessels`, those filled in, and `moisture_known`, in percent."""
        data = super().clean() or {}
        data["moisture_known"] = None
        try:
            if not any(name in self.errors for name in ("moisture", "refractive_index", "brix")):
                data["moisture_known"] = self._moisture(data)
        except HouseError as error:
            self.refuse(error)
        self._filled = [number for number in self.LINES if data.get(f"place_{number}")]
        for number in self.LINES:
            weighed = (data.get(f"{name}_{number}") for name in ("net", "gross", "tare"))
            name = f"place_{number}"
            if number not in self._filled and name not in self.errors and any(weighed):
                self.add_error(name, _("Choose the vessel this weight is in."))
        data["vessels"] = [self._vessel(data, number) for number in self._filled]
        return data

    @staticmethod
    def _moisture(data: dict[str, Any]) -> Decimal:
        return lots.moisture_known(
            data.get("moisture"), index_read(data), data.get("refractometer_celsius")
        )

    @staticmethod
    def _vessel(data: dict[str, Any], number: int) -> VesselReceived:
        return VesselReceived(
            place=data[f"place_{number}"],
            net_grams=data.get(f"net_{number}"),
            gross_grams=data.get(f"gross_{number}"),
            tare_grams=data.get(f"tare_{number}"),
        )

    def field_of(self, parameter: str | None) -> str | None:
        match (parameter or "").split("."):
            case ["vessels", index, name]:
                return f"{name.removesuffix('_grams')}_{self._filled[int(index)]}"
        return super().field_of(parameter)

    @staticmethod
    def facts(data: dict[str, Any]) -> HoneyFacts:
        """Return what was typed of the honey, as the services take it."""
        return HoneyFacts(
            floral_source=data["floral_source"],
            season=data["season"],
            received_on=data["received_on"],
            supplier_lot=data["supplier_lot"],
            country=data["country"],
            region=data["region"],
            moisture_percent=data["moisture"],
            refractive_index=data["refractive_index"],
            refractometer_celsius=data["refractometer_celsius"],
            colour_mm=data["colour_mm"],
            note=data["note"],
        )


class PurchaseForm(DeliveryForm):
    """Honey bought from another producer, with what it cost."""

    fields_of_parameters = {**DeliveryForm.fields_of_parameters, "cost_cents": "cost"}
    one_of_several = (*DeliveryForm.one_of_several, "cost", "price_per_pound")

    supplier = SupplierNameField(
        label=_("Bought from"), error_messages={"required": _("Enter who the honey comes from.")}
    )
    supplier_lot = forms.CharField(
        label=_("Their lot code"),
        max_length=60,
        required=False,
        help_text=_("As written on their drums or papers. It leads back to them in a recall."),
    )
    cost = MoneyField(label=_("What all of it cost"), required=False)
    price_per_pound = NumberField(
        label=by_unit(_("Or the price of a {unit}")),
        max_digits=10,
        decimal_places=4,
        required=False,
        help_text=_("You can leave both empty and enter the cost later."),
    )

"""A sale by weight over the counter: what, how it was weighed, its price and how it is paid."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.forms.stand import METHODS
from apiary_sales.customers.fields import CustomerField
from apiary_sales.orders.forms.by_weight import in_words, line_of
from apiary_sales.orders.queries.by_weight import WeightOffer
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.pricing.forms.prices import PerPoundField
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import MoneyField, TemperatureField, VolumeField, WeightField
from inventory.shared.weights import by_unit, unit_name


class SellByWeightForm(ActForm):
    """One thing sold by weight: weighed full and empty, its net weight, or honey by volume."""

    fields_of_parameters = {
        "payments.0.method": "method",
        "payments.0.tendered_cents": "tendered",
        "lines.0.drum": "what",
        "lines.0.product": "what",
        "lines.0.kind": "what",
        "lines.0.unit_price": "price_per_pound",
    }

    what = forms.ChoiceField(label=_("What is sold"))
    gross = WeightField(label=_("Full container"), required=False)
    tare = WeightField(
        label=_("Empty container"),
        required=False,
        help_text=_("What the buyer's own container weighs. Enter 0 if the scale was set to zero."),
    )
    net = WeightField(label=_("Net weight"), required=False)
    volume = VolumeField(label=_("Volume of honey"), required=False)
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    price_per_pound = PerPoundField(
        label=by_unit(_("Another price per {unit}")),
        required=False,
        help_text=_("Leave empty for the price on the list."),
    )
    customer = CustomerField(
        label=_("Customer"),
        required=False,
        empty_label=_("a buyer without a name"),
        help_text=_("With a name, a recall finds the buyer."),
    )
    method = forms.ChoiceField(
        label=_("Paid by"), choices=METHODS, initial="cash", widget=forms.RadioSelect
    )
    tendered = MoneyField(label=_("Cash given"), required=False, error_messages=NOT_NEGATIVE)

    def __init__(
        self,
        *args,
        offers: Sequence[WeightOffer],
        may_set_price: bool,
        may_name_buyer: bool,
        **kwargs,
    ) -> None:
        super().__init__(*args, **kwargs)
        self._offers = {offer.key: offer for offer in offers}
        choices = [("", _("Choose one")), *((offer.key, in_words(offer)) for offer in offers)]
        self.fields["what"].choices = choices  # type: ignore[attr-defined]
        if not may_set_price:
            del self.fields["price_per_pound"]
        if not may_name_buyer:
            del self.fields["customer"]
        self.line: LineWanted | None = None

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        offer = self._offers.get(data.get("what", ""))
        if offer is None or self.errors:
            return data
        price, weighed = self._price(offer, data), self._weighed(offer, data)
        if price is not None and weighed is not None:
            self.line = line_of(offer, weighed, price)
        return data

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "lines.0.quantity":
            ways = ("gross", "net", "volume")
            return next((name for name in ways if self.cleaned_data.get(name) is not None), "gross")
        return super().field_of(parameter)

    def _price(self, offer: WeightOffer, data: dict[str, Any]) -> Decimal | None:
        price = data.get("price_per_pound")
        if price is None:
            price = offer.price_per_pound
        if price is None:
            name = "price_per_pound" if "price_per_pound" in self.fields else "what"
            self.add_error(
                name,
                gettext("%(what)s has no price per %(unit)s. Set one on the price list first.")
                % {"what": offer.name, "unit": unit_name()},
            )
        return price

    def _weighed(self, offer: WeightOffer, data: dict[str, Any]) -> Weighed | None:
        given = [name for name in ("gross", "net", "volume") if data.get(name) is not None]
        if len(given) != 1:
            sentence = gettext(
                "Enter one of these: the full container, the net weight, or a volume."
            )
            self.add_error(given[1] if given else "gross", sentence)
            return None
        if given == ["net"]:
            return Weighed(data["net"])
        if given == ["gross"]:
            if data.get("tare") is None:
                self.add_error("tare", gettext("Enter what the empty container weighs, or 0."))
                return None
            return weighing.on_scale(gross_grams=data["gross"], tare_grams=data["tare"])
        return self._by_volume(offer, data)

    def _by_volume(self, offer: WeightOffer, data: dict[str, Any]) -> Weighed | None:
        if offer.lot is None:
            self.add_error(
                "volume", gettext("Only honey can be sold by volume. Weigh these goods.")
            )
            return None
        if data.get("celsius") is None:
            self.add_error("celsius", gettext("Enter how warm the honey is."))
            return None
        try:
            return weighing.by_volume(data["volume"], lot=offer.lot, celsius=data["celsius"])
        except ValueError as error:
            self.add_error("celsius", str(error))
            return None

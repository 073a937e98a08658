"""Forms of quotes: the drums that make up an amount, and what they are offered at."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.fields import CustomerField
from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.forms.lines import (
    LinesForm,
    PriceField,
    note_field,
    offer_drums_as,
    over_limit_field,
    po_number_field,
    ship_to_field,
    total_shown_field,
)
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries.drums import DrumOffer, DrumsWanted
from apiary_sales.orders.rules.lines import LineWanted
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, metric_first
from inventory.shared.models import House
from inventory.shared.row_keys import row_key
from inventory.shared.weights import unit_name
from inventory.stock.forms.fields import moisture_is_right_field
from inventory.stock.models import Place, ProductionSettings

PICKED_IN = [
    ("lb", _("pounds")),
    ("gal", _("gallons at 68 °F")),
    ("kg", _("kilograms")),
    ("L", _("litres at 20 °C")),
    ("drums", _("drums")),
]


def units_to_pick_in() -> list[tuple[str, Any]]:
    """Return the units in which honey in drums is asked for, those of the house first."""
    return metric_first(PICKED_IN)


class PickForm(HouseForm):
    """How much honey in drums, and what like; the page then ticks the drums that make it up."""

    fields_of_parameters = {"wanted.amount": "amount"}

    amount = NumberField(label=_("How much"), min_value=0, max_digits=9, decimal_places=2)
    unit = forms.ChoiceField(
        label=_("Unit"),
        choices=units_to_pick_in,
    )
    colour = forms.ChoiceField(label=_("Colour class"), required=False)
    moisture = NumberField(
        label=_("Moisture up to, %"),
        required=False,
        help_text=_("Leave empty for your own limit."),
        min_value=10,
        max_value=30,
        max_digits=4,
        decimal_places=2,
    )
    prefer = forms.ChoiceField(
        label=_("Take"),
        required=False,
        choices=[
            (drums.OLDEST_FIRST, _("the oldest honey first")),
            (drums.BEST_FIT, _("the drums closest to the amount")),
        ],
    )

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        colours = cast(forms.ChoiceField, self.fields["colour"])
        colours.choices = [
            ("", _("any")),
            *((name, words.colour(name)) for name in COLOUR_CLASSES),
        ]

    def clean(self):
        data = super().clean()
        amount = data.get("amount")
        if data.get("unit") == "drums" and amount is not None and amount % 1:
            self.add_error("amount", _("Enter whole drums."))
        return data

    @property
    def wanted(self) -> DrumsWanted:
        data = self.cleaned_data
        return DrumsWanted(
            amount=data["amount"],
            unit=data["unit"],
            colour_class=data["colour"],
            moisture_percent_max=_most_moisture(data["moisture"]),
            prefer=data["prefer"] or drums.OLDEST_FIRST,
        )


def _most_moisture(typed: Decimal | None) -> Decimal:
    """Return the most moisture that drums are picked with: the house's own limit, or as typed."""
    return ProductionSettings.current().moisture_limit_percent if typed is None else typed


@dataclass(frozen=True)
class DrumRow:
    """One free drum on the quote form."""

    offer: DrumOffer
    tick: BoundField
    price: BoundField


class QuoteForm(LinesForm):
    """Drums ticked and priced a pound, how the drums themselves go, freight, and until when."""

    customer = CustomerField(
        label=_("Buyer"),
        empty_label=_("Choose the buyer"),
        error_messages={"required": _("Choose the buyer.")},
    )
    drums_as = forms.ChoiceField(label=_("The drums"), widget=forms.RadioSelect)
    drum_each = MoneyField(
        label=_("A different amount per drum"),
        required=False,
        help_text=_("Leave empty to use your usual deposit or price."),
    )
    freight = MoneyField(label=_("Freight"), required=False)
    valid_until = DayField(label=_("Valid until"))
    wanted_on = DayField(label=_("Delivery day"), required=False)
    customer_reference = po_number_field()
    ship_to = ship_to_field()
    note = note_field()
    moisture_is_right = moisture_is_right_field()
    expected_total_cents = total_shown_field()

    def __init__(
        self, *args, offers: list[DrumOffer], customer: Customer | None = None, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.buyer = customer
        field = cast(forms.ModelChoiceField, self.fields["ship_to"])
        field.queryset = DeliveryAddress.objects.filter(customer=customer, is_active=True)
        house = House.current()
        self._usual = offer_drums_as(cast(forms.ChoiceField, self.fields["drums_as"]), house)
        self.fields["valid_until"].initial = lambda: (
            timezone.localdate() + timedelta(days=house.quote_days)
        )
        self._offers = offers
        for offer in offers:
            key = offer.drum.pk
            self.fields[f"drum_{key}"] = forms.BooleanField(
                label=offer.drum.name,
                required=False,
                widget=forms.CheckboxInput(attrs={"form": "quote"}),
            )
            self.fields[f"price_{key}"] = PriceField(
                label=gettext("%(drum)s: price per %(unit)s")
                % {"drum": offer.drum.name, "unit": unit_name()},
                initial=offer.price_per_pound,
            )
            self.fields[f"price_{key}"].widget.attrs["form"] = "quote"

    def rows(self) -> list[DrumRow]:
        return [
            DrumRow(offer, self[f"drum_{offer.drum.pk}"], self[f"price_{offer.drum.pk}"])
            for offer in self._offers
        ]

    def clean(self):
        data = super().clean()
        ticked = [offer for offer in self._offers if data.get(f"drum_{offer.drum.pk}")]
        for offer in ticked:
            self._add_drum(offer, data)
        kind = data.get("drums_as")
        each = data.get("drum_each")
        if kind in self._usual and ticked:
            cents = self._usual[kind] if each is None else each
            self.add_line(LineWanted(kind, len(ticked), Decimal(cents) / 100), quantity="drum_each")
        if data.get("freight"):
            freight = Decimal(data["freight"]) / 100
            self.add_line(LineWanted(OrderLine.Kind.FREIGHT, 1, freight), quantity="freight")
        self._name_drums_that_are_gone()
        if not ticked and not self.errors:
            self.add_error(None, _("Tick the drums the buyer gets."))
        return data

    def _add_drum(self, offer: DrumOffer, data) -> None:
        tick, name = f"drum_{offer.drum.pk}", f"price_{offer.drum.pk}"
        price = data.get(name)
        if price is None:
            if name not in self.errors:
                self.add_error(
                    name,
                    gettext("Enter a price per %(unit)s for %(drum)s.")
                    % {"drum": offer.drum.name, "unit": unit_name()},
                )
            return
        self.add_line(
            LineWanted(OrderLine.Kind.HONEY, offer.grams, price, drum=offer.drum, lot=offer.lot),
            quantity=tick,
            drum=tick,
            unit_price=name,
        )

    def _name_drums_that_are_gone(self) -> None:
        """Say which ticked drums were sold, reserved or emptied while the page was open."""
        offered = {str(offer.drum.pk) for offer in self._offers}
        ticked = {name.removeprefix("drum_") for name in self.data if name.startswith("drum_")}
        gone = {str(key) for text in ticked - offered if (key := row_key(text))}
        for drum in Place.objects.filter(pk__in=gone, kind=Place.Kind.DRUM):
            gone.discard(str(drum.pk))
            self.add_error(
                None,
                gettext("%(drum)s is no longer free. Choose another.") % {"drum": drum.name},
            )
        if gone:
            self.add_error(None, _("That drum was not found. Open the page again."))


class AcceptForm(ActForm):
    over_limit = over_limit_field()
    moisture_is_right = moisture_is_right_field()
    expected_total_cents = total_shown_field()

    def field_of(self, parameter: str | None) -> str | None:
        # It is hidden, and shown anew with the figures of now.
        return None if parameter == "expected_total_cents" else super().field_of(parameter)

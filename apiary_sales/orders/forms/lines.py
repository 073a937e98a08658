"""What the forms of quotes and orders share: lines out of rows, and refusals back into rows."""

import re
from decimal import Decimal

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import DeliveryAddress
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import NumberField, WholeNumberField
from inventory.shared.models import House
from inventory.shared.money import price_places

# The buyer brings drums, and the house's stay here.
OWN_DRUMS = "own"


class PriceField(NumberField):
    """A price of one piece or one pound, with up to four decimals."""

    def __init__(self, *, required: bool = False, **kwargs) -> None:
        super().__init__(
            required=required,
            min_value=0,
            max_digits=12,
            decimal_places=4,
            **kwargs,
        )

    def prepare_value(self, value):
        return super().prepare_value(with_cents(value) if isinstance(value, Decimal) else value)


def with_cents(price: Decimal) -> Decimal:
    """Return a price as a box shows it: with two decimals, up to four where they are not zero."""
    return round(price, min(price_places(price), 4))


def offer_drums_as(field: forms.ChoiceField, house: House) -> dict[str, int]:
    """Ask what becomes of the drums that honey is sold in; return the usual cents of each way."""
    each = {
        OrderLine.Kind.DRUM_DEPOSIT.value: house.drum_deposit_cents,
        OrderLine.Kind.DRUM_SALE.value: house.drum_price_cents,
    }
    field.choices = [
        (OWN_DRUMS, _("stay here: the buyer brings drums")),
        (
            OrderLine.Kind.DRUM_DEPOSIT,
            gettext("go on deposit, %(amount)s each")
            % {"amount": words.money(house.drum_deposit_cents)},
        ),
        (
            OrderLine.Kind.DRUM_SALE,
            gettext("are sold, %(amount)s each") % {"amount": words.money(house.drum_price_cents)},
        ),
    ]
    field.initial = OrderLine.Kind.DRUM_DEPOSIT
    return each


class LinesForm(ActForm):
    """A form whose rows become order lines.

    It keeps the fields that each line came from, so that what is refused of `lines.2.quantity` is
    shown beside the row that asked for it.
    """

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._line_fields: list[dict[str, str]] = []
        self._lines: list[LineWanted] = []
        # What is wanted and has no price yet: an order can't be taken with it.
        self.unpriced: list[str] = []

    def add_line(self, line: LineWanted, **fields: str) -> None:
        """Add a line; `fields` names the form's field for quantity, unit_price and the like."""
        self._lines.append(line)
        self._line_fields.append(fields)

    @property
    def lines(self) -> list[LineWanted]:
        return self._lines

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "expected_total_cents":
            # It is hidden, and shown anew with the figures of now.
            return None
        place = re.fullmatch(r"lines\.(\d+)\.(\w+)", parameter or "")
        if place is None:
            return super().field_of(parameter)
        fields = self._line_fields[int(place[1])]
        return super().field_of(fields.get(place[2]) or next(iter(fields.values()), None))


def po_number_field() -> forms.CharField:
    return forms.CharField(label=_("Their PO number"), required=False, max_length=60)


def ship_to_field() -> forms.ModelChoiceField:
    """Where the goods go; the form gives the addresses of its customer."""
    return forms.ModelChoiceField(
        label=_("Deliver to"),
        queryset=DeliveryAddress.objects.none(),
        required=False,
        empty_label=_("the customer's own address"),
    )


def total_shown_field() -> WholeNumberField:
    """The total the page shows beside the button, sent along with it; none before it is shown."""
    return WholeNumberField(required=False, widget=forms.HiddenInput)


def note_field() -> forms.CharField:
    return forms.CharField(label=_("Note"), required=False, max_length=300)


def over_limit_field() -> forms.BooleanField:
    return forms.BooleanField(label=_("Take the order anyway"), required=False)

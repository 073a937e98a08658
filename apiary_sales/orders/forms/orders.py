"""Forms of orders: taken, filled, cancelled, taken back."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import cast

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.forms.lines import LinesForm, PriceField, note_field, over_limit_field
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries.stock import ProductForSale
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules.prices import PricesOfProduct
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, WeightField, WholeNumberField
from inventory.stock.models import Place


@dataclass(frozen=True)
class OrderProductRow:
    """One product on the order form: its stock, its price in the customer's tier, its fields."""

    product: ProductForSale
    prices: PricesOfProduct
    pieces: BoundField
    price: BoundField
    discount: BoundField


class OrderForm(LinesForm):
    """A shop or delivery order: how many of each product, at the tier's price or another."""

    customer = forms.ModelChoiceField(
        label=_("Customer"),
        queryset=Customer.objects.filter(is_active=True),
        empty_label=_("Choose the customer"),
        error_messages={"required": _("Choose the customer.")},
    )
    channel = forms.ChoiceField(
        label=_("Kind of order"),
        choices=[
            (Order.Channel.SHOP, _("To a shop")),
            (Order.Channel.DELIVERY, _("Delivery")),
        ],
    )
    wanted_on = DayField(label=_("Wanted on"), required=False)
    customer_reference = forms.CharField(label=_("Their reference"), required=False, max_length=60)
    freight = MoneyField(label=_("Delivery charge"), required=False)
    note = note_field()
    over_limit = over_limit_field()

    def __init__(self, *args, products: list[ProductForSale], customer: Customer | None, **kwargs):
        super().__init__(*args, **kwargs)
        tier = customer.tier if customer else Customer.Tier.SHOP
        self.price_list = prices.price_list(tier, timezone.localdate())
        offered = {each.product.pk for each in self.price_list.offered_to(customer)}
        self._products = [row for row in products if row.product.pk in offered]
        for row in self._products:
            key, name = row.product.pk, row.product.name
            self.fields[f"pieces_{key}"] = WholeNumberField(
                label=gettext("%(product)s: pieces") % {"product": name},
                required=False,
                min_value=0,
            )
            self.fields[f"price_{key}"] = PriceField(
                label=gettext("%(product)s: another price") % {"product": name}
            )
            self.fields[f"discount_{key}"] = MoneyField(
                label=gettext("%(product)s: discount") % {"product": name}, required=False
            )

    def rows(self) -> list[OrderProductRow]:
        return [
            OrderProductRow(
                row,
                self.price_list.of(row.product),
                self[f"pieces_{row.product.pk}"],
                self[f"price_{row.product.pk}"],
                self[f"discount_{row.product.pk}"],
            )
            for row in self._products
        ]

    def open_rows(self) -> list[OrderProductRow]:
        """Return the rows of what every customer can order."""
        return [row for row in self.rows() if row.prices.private_to is None]

    def own_rows(self) -> list[OrderProductRow]:
        """Return the rows of the customer's private labels."""
        return [row for row in self.rows() if row.prices.private_to is not None]

    def clean(self):
        data = super().clean()
        for row in self._products:
            self._add_product(row.product, data)
        if data.get("freight"):
            freight = Decimal(data["freight"]) / 100
            self.add_line(LineWanted(OrderLine.Kind.FREIGHT, 1, freight), quantity="freight")
        return data

    def _add_product(self, product, data) -> None:
        key = product.pk
        pieces = data.get(f"pieces_{key}")
        if not pieces:
            return
        price = data.get(f"price_{key}")
        if price is None:
            price = self.price_list.of(product).unit_price(pieces)
        if price is None:
            self.add_error(
                f"price_{key}",
                gettext("%(product)s has no price for this customer. Enter one.")
                % {"product": product.name},
            )
            return
        self.add_line(
            LineWanted(
                OrderLine.Kind.PACKED,
                pieces,
                price,
                product=product,
                discount_cents=data.get(f"discount_{key}") or 0,
            ),
            quantity=f"pieces_{key}",
            unit_price=f"price_{key}",
            discount_cents=f"discount_{key}",
        )


class FulfilForm(ActForm):
    """How much of each line is handed over now: all that is left, unless told otherwise."""

    filled_on = DayField(label=_("Handed over on"))

    def __init__(self, *args, order: Order, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["filled_on"].initial = timezone.localdate
        is_open = order.status in Order.OPEN_STATUSES
        self._left = [line for line in order.lines.all() if is_open and line.to_fill]
        for line in self._left:
            if line.kind not in rules.DRUM_CHARGES:
                self.fields[f"line_{line.pk}"] = _line_field(line)

    def field_of(self, parameter: str | None) -> str | None:
        # The quantity of a line is `quantities.<key>` to the service.
        line = re.fullmatch(r"quantities\.(\d+)", parameter or "")
        return super().field_of(f"line_{line[1]}" if line else parameter)

    def rows(self) -> list[tuple[OrderLine, BoundField | None]]:
        """Return each line that is not filled, with its field; drum charges have none."""
        return [
            (line, self[f"line_{line.pk}"] if f"line_{line.pk}" in self.fields else None)
            for line in self._left
        ]

    @property
    def quantities(self) -> dict[int, int]:
        wanted = {}
        for line in self._left:
            typed = self.cleaned_data.get(f"line_{line.pk}")
            if typed is True:
                typed = line.to_fill
            if typed:
                wanted[line.pk] = typed
        return wanted


def _line_field(line: OrderLine) -> forms.Field:
    label = line.description
    if line.kind == OrderLine.Kind.PACKED:
        return WholeNumberField(label=label, required=False, min_value=0, initial=line.to_fill)
    if line.kind == OrderLine.Kind.HONEY and not rules.is_whole_drum(line):
        return WeightField(label=label, required=False, initial=(line.to_fill, "g"))
    return forms.BooleanField(label=label, required=False, initial=True)


class ReasonForm(ActForm):
    reason = forms.CharField(label=_("Why"), max_length=300)


class GoodsBackForm(ReasonForm):
    had_left = forms.BooleanField(
        label=_("The goods had left the house"),
        required=False,
        initial=True,
        help_text=_(
            "Jars that came back are kept apart until somebody decides what happens with them, "
            "and the order is not filled again."
        ),
    )


class DrumsBackForm(ActForm):
    drums = forms.ModelMultipleChoiceField(
        label=_("Drums that came back"),
        queryset=Place.objects.none(),
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args, away, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ModelMultipleChoiceField, self.fields["drums"]).queryset = away

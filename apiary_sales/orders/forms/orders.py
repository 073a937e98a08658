"""Forms of orders: taken, filled, cancelled, taken back."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import cast

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.fields import CustomerField
from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.forms import by_weight, service_rows
from apiary_sales.orders.forms.lines import (
    LinesForm,
    PriceField,
    note_field,
    over_limit_field,
    po_number_field,
    ship_to_field,
    total_shown_field,
)
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries.by_weight import offers
from apiary_sales.orders.queries.stock import ProductForSale
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules.prices import PricesOfProduct
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, WholeNumberField
from inventory.shared.models import House
from inventory.stock.forms.fields import moisture_is_right_field
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

    customer = CustomerField(
        label=_("Customer"),
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
    wanted_on = DayField(label=_("Delivery day"), required=False)
    customer_reference = po_number_field()
    ship_to = ship_to_field()
    freight = MoneyField(label=_("Delivery charge"), required=False)
    note = note_field()
    over_limit = over_limit_field()
    moisture_is_right = moisture_is_right_field()
    expected_total_cents = total_shown_field()

    def __init__(self, *args, products: list[ProductForSale], customer: Customer | None, **kwargs):
        super().__init__(*args, **kwargs)
        self.buyer = customer
        field = cast(forms.ModelChoiceField, self.fields["ship_to"])
        field.queryset = DeliveryAddress.objects.filter(customer=customer, is_active=True)
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
        self._offers = offers(None, timezone.localdate(), tier=tier)
        by_weight.add_fields(self, self._offers)
        service_rows.add_fields(self)

    def weight_rows(self) -> list[by_weight.WeightRow]:
        return by_weight.rows_of(self)

    def service_rows(self) -> list[service_rows.ServiceRow]:
        return service_rows.rows_of(self)

    @property
    def has_weight_rows(self) -> bool:
        return self._is_typed("weight_what_") or self._is_typed("weight_amount_")

    @property
    def has_service_rows(self) -> bool:
        return self._is_typed("service_")

    def _is_typed(self, start: str) -> bool:
        """Tell whether something is typed in a row, so that the page shows the rows."""
        return any(self[name].value() for name in self.fields if name.startswith(start))

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
        by_weight.add_lines(self, self._offers, data)
        service_rows.add_lines(self, data)
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
            self.unpriced.append(product.name)
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


class JarQuoteForm(OrderForm):
    """Jars, goods and services offered at a price until a day."""

    valid_until = DayField(label=_("Valid until"))

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["valid_until"].initial = lambda: (
            timezone.localdate() + timedelta(days=House.current().quote_days)
        )
        del self.fields["over_limit"]


class ReasonForm(ActForm):
    reason = forms.CharField(label=_("Why"), max_length=300)


class GoodsBackForm(ReasonForm):
    had_left = forms.BooleanField(
        label=_("The goods had left the house"),
        required=False,
        initial=True,
        help_text=_(
            "Jars that came back are kept apart until somebody decides what happens with them. "
            "What was sold by weight is booked out as spoiled. They are taken off the order; what "
            "is still to be handed over stays."
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

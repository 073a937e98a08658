"""A sale at the stand: the form that works without script."""

import re
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries.stand import StandProduct
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.bottling.models import Product
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import MoneyField, WholeNumberField

METHODS = [
    (method.value, label)
    for method, label in [
        (Payment.Method.CASH, gettext_lazy("Cash")),
        (Payment.Method.CARD, gettext_lazy("Card")),
        (Payment.Method.CHECK, gettext_lazy("Check")),
    ]
]


class StandForm(ActForm):
    """How many of each product were sold, and how they were paid."""

    fields_of_parameters = {
        "payments.0.method": "method",
        "payments.0.tendered_cents": "tendered",
        "discount_cents": "discount",
    }

    method = forms.ChoiceField(
        label=gettext_lazy("Paid by"), choices=METHODS, initial="cash", widget=forms.RadioSelect
    )
    tendered = MoneyField(
        label=gettext_lazy("Cash given"), required=False, error_messages=NOT_NEGATIVE
    )
    discount = MoneyField(
        label=gettext_lazy("Discount"), required=False, error_messages=NOT_NEGATIVE
    )

    def __init__(self, *args, products: Sequence[StandProduct], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.products = products
        self.sold: list[StandProduct] = []
        for row in products:
            self.fields[self._name(row)] = WholeNumberField(
                label=row.product.name,
                required=False,
                min_value=0,
                error_messages=NOT_NEGATIVE,
            )

    @property
    def product_fields(self) -> list[tuple[StandProduct, forms.BoundField]]:
        return [(product, self[self._name(product)]) for product in self.products]

    def lines(self) -> list[LineWanted]:
        """Return the jars of the sale at today's stand prices."""
        self.sold, wanted = [], []
        for row in self.products:
            pieces = self.cleaned_data.get(self._name(row))
            if pieces and (price := row.prices.unit_price(pieces)) is not None:
                self.sold.append(row)
                wanted.append(_line(row.product, pieces, price))
        return wanted

    def field_of(self, parameter: str | None) -> str | None:
        """Return the field of the product where a parameter is about one of `lines`."""
        if found := re.fullmatch(r"lines\.(\d+)\..+", parameter or ""):
            return self._name(self.sold[int(found[1])])
        return super().field_of(parameter)

    @staticmethod
    def _name(row: StandProduct) -> str:
        return f"pieces_{row.product.code}"


class TakeBackForm(ActForm):
    """Why a stand sale is undone."""

    reason = forms.CharField(
        label=gettext_lazy("Why?"),
        max_length=300,
        help_text=gettext_lazy("It is printed on the credit note."),
    )
    weighed_comes_back = forms.BooleanField(
        label=gettext_lazy("What was sold by weight goes back to stock"),
        required=False,
        help_text=gettext_lazy(
            "Only if it never left the counter. What was in the buyer's container is booked out "
            "as spoiled."
        ),
    )

    def __init__(self, *args: Any, has_weighed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not has_weighed:
            del self.fields["weighed_comes_back"]


def _line(product: Product, pieces: int, unit_price: Decimal) -> LineWanted:
    return LineWanted(
        kind=OrderLine.Kind.PACKED, quantity=pieces, unit_price=unit_price, product=product
    )

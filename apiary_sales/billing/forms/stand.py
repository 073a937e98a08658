"""A sale at the stand: the form that works without script, and the message the page sends."""

import re
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries.stand import StandProduct
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from inventory.bottling.models import Product
from inventory.shared import keys
from inventory.shared.errors import BadValue
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import MoneyField, WholeNumberField
from inventory.stock.models import Place

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

    fields_of_parameters = {"tendered_cents": "tendered", "discount_cents": "discount"}

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


def parse_sale(data: Any) -> dict[str, Any]:
    """Return the arguments of `stand.sell` out of what the stand page sent.

    Prices come from the page, because the buyer paid what the page showed: a sale kept without
    signal may reach us after a price has changed. Raises `BadValue` for anything unreadable.
    """
    if not isinstance(data, dict):
        raise _unreadable()
    return {
        "key": _text(data, "key"),
        "place": _place(_text(data, "place")),
        "lines": [_parse_line(line) for line in _list(data, "lines")],
        "method": _text(data, "method"),
        "tendered_cents": _cents(data, "tendered_cents", may_be_missing=True),
        "discount_cents": _cents(data, "discount_cents", may_be_missing=True) or 0,
        "sold_at": _moment(data),
    }


def _parse_line(data: Any) -> LineWanted:
    if not isinstance(data, dict):
        raise _unreadable()
    # A sale that a phone kept since before there were products names the size: its standard
    # product has the same code.
    code = _text(data, "product" if "product" in data else "size")
    product = Product.objects.select_related("item").filter(code=code).first()
    if product is None:
        raise BadValue(
            _("There is no product called %(code)s any more. Open the stand page again.")
            % {"code": code},
            parameter="lines",
        )
    return _line(product, _whole(data, "pieces"), _price(data))


def _line(product: Product, pieces: int, unit_price: Decimal) -> LineWanted:
    return LineWanted(
        kind=OrderLine.Kind.PACKED, quantity=pieces, unit_price=unit_price, product=product
    )


def _place(code: str) -> Place:
    place = Place.objects.filter(code=code, kind__in=Place.STORES).first()
    if place is None:
        raise BadValue(
            _("There is no stand called %(code)s any more. Open the stand page again.")
            % {"code": code},
            parameter="place",
        )
    return place


def _unreadable() -> BadValue:
    return BadValue(_("The sale could not be read. Open the stand page again."))


def _text(data: dict, name: str) -> str:
    value = data.get(name)
    if not isinstance(value, str) or not value or len(value) > keys.LENGTH_MAX:
        raise _unreadable()
    # PostgreSQL accepts no null character, neither in a stored text nor in a query.
    if "\x00" in value:
        raise _unreadable()
    return value


def _list(data: dict, name: str) -> list:
    value = data.get(name)
    if not isinstance(value, list):
        raise _unreadable()
    return value


def _whole(data: dict, name: str) -> int:
    value = data.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or abs(value) > 10**9:
        raise _unreadable()
    return value


def _cents(data: dict, name: str, *, may_be_missing: bool) -> int | None:
    if may_be_missing and data.get(name) is None:
        return None
    return _whole(data, name)


def _price(data: dict) -> Decimal:
    try:
        price = Decimal(_text(data, "unit_price"))
    except InvalidOperation:
        raise _unreadable() from None
    # More than that is a typing error, and could overflow sums in the database.
    if not price.is_finite() or abs(price) > 10**6 or price != round(price, 4):
        raise _unreadable()
    return price


def _moment(data: dict) -> datetime:
    try:
        moment = parse_datetime(_text(data, "sold_at"))
    except ValueError:
        moment = None
    # The first and last possible dates can't be converted to local time.
    if moment is None or moment.tzinfo is None or not 1900 <= moment.year <= 9000:
        raise _unreadable()
    return moment

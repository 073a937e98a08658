"""What the office says about sales with marks, and about sales that were given to it."""

import copy
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.stand_messages import parse_sale
from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.orders.forms.lines import PriceField
from inventory.bottling.models import Product
from inventory.shared.errors import BadValue, HouseError
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import WholeNumberField
from inventory.stock.models import Place


class SeeMarksForm(ActForm):
    """A note about a sale that was looked at."""

    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class SeeShortForm(ActForm):
    """The sales on a page that were looked at together."""

    sales = forms.ModelMultipleChoiceField(
        queryset=StandSale.objects.all(), widget=forms.MultipleHiddenInput
    )


class LeaveUnbookedForm(ActForm):
    """Why a sale that was given to the office is not booked."""

    note = forms.CharField(
        label=_("Why is it not booked?"),
        max_length=300,
        help_text=_("For example: entered by hand as receipt R26-00012."),
    )


class BookHandedInForm(ActForm):
    """A sale that a device could not get booked, with what the office puts right in it."""

    place = forms.ModelChoiceField(
        label=_("Sold from"),
        queryset=Place.objects.filter(kind__in=Place.STORES).order_by("name"),
        to_field_name="code",
    )

    def __init__(self, *args: Any, handed_in: HandedInSale, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._handed_in = handed_in
        self.sale: dict[str, Any] = {}
        lines = self._lines()
        self.fields["place"].initial = handed_in.body.get("place")
        products = Product.objects.for_sale().order_by("name")
        codes = set(products.values_list("code", flat=True))
        for index, line in enumerate(lines):
            if "weighed" in line:
                continue
            number = index + 1
            code = line.get("product") or line.get("size")
            self.fields[f"product_{index}"] = forms.ModelChoiceField(
                label=gettext("Product, line %(number)s") % {"number": number},
                queryset=products,
                to_field_name="code",
                # Without an empty choice the browser would choose the first product of all for one
                # that is not there.
                initial=code if code in codes else None,
            )
            self.fields[f"pieces_{index}"] = WholeNumberField(
                label=gettext("Pieces, line %(number)s") % {"number": number},
                min_value=1,
                initial=line.get("pieces"),
            )
            self.fields[f"price_{index}"] = PriceField(
                label=gettext("Price of a piece, line %(number)s") % {"number": number},
                required=True,
                initial=_decimal(line.get("unit_price")),
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if self.errors:
            return data
        try:
            self.sale = parse_sale(self._mended(data))
        except HouseError as error:
            self.add_error(None, str(error))
        return data

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "place":
            return "place"
        parts = (parameter or "").split(".")
        if len(parts) == 3 and parts[0] == "lines":
            name = {"quantity": "pieces", "unit_price": "price"}.get(parts[2], "product")
            return f"{name}_{parts[1]}"
        return super().field_of(parameter)

    def _lines(self) -> list[Mapping[str, Any]]:
        return lines_of(self._handed_in.body)

    def _mended(self, data: Mapping[str, Any]) -> dict[str, Any]:
        lines = [
            {
                "product": data[f"product_{index}"],
                "quantity": data[f"pieces_{index}"],
                "unit_price": data[f"price_{index}"],
            }
            for index, line in enumerate(self._lines())
            if "weighed" not in line
        ]
        return mended(self._handed_in.body, place=data["place"], lines=lines)


def lines_of(body: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return what can be read as lines of a sale that a device sent."""
    lines = body.get("lines")
    return [line for line in lines if isinstance(line, dict)] if isinstance(lines, list) else []


def mended(
    body: Mapping[str, Any], *, place: Place, lines: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return a sale with this place, and these lines for those in pieces; weighed ones stay.

    Raises `BadValue` at "lines" where these are more or fewer than the sale has in pieces.
    """
    said = lines_of(body)
    in_pieces = sum("weighed" not in line for line in said)
    if len(lines) != in_pieces:
        raise BadValue(
            ngettext(
                "Send the %(count)d line in pieces that this sale has.",
                "Send the %(count)d lines in pieces that this sale has.",
                in_pieces,
            )
            % {"count": in_pieces},
            parameter="lines",
        )
    right = iter(lines)
    return {
        **copy.deepcopy(dict(body)),
        "place": place.code,
        "lines": [line if "weighed" in line else _written(next(right)) for line in said],
    }


def _written(line: Mapping[str, Any]) -> dict[str, Any]:
    """Return a line as a device writes it."""
    return {
        "product": line["product"].code,
        "pieces": line["quantity"],
        "unit_price": str(line["unit_price"]),
    }


def _decimal(text: Any) -> Decimal | None:
    try:
        return Decimal(str(text))
    except ArithmeticError:
        return None

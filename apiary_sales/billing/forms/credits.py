"""Credit notes, line by line, with the goods that came back; and corrected invoices."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import InvoiceLine, plain
from apiary_sales.billing.rules import Left, LineCredit
from apiary_sales.billing.services.corrected_invoices import LineChange
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.lines import vessel_of
from apiary_sales.orders.rules.returns import GoodsBack, still_out
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
    as_typed,
)
from inventory.shared.weights import in_units, unit_word
from inventory.stock.models import Place

NOTHING, GOODS, PRICE, ALLOWANCE = "", "goods", "price", "allowance"
WAYS = [
    (GOODS, _("goods, at the price billed")),
    (PRICE, _("part of the price of each")),
    (ALLOWANCE, _("an amount")),
    (NOTHING, _("nothing")),
]


class WorkedOutForm(ActForm):
    """A form whose figures are worked out before they are issued."""

    # The total that the page showed, which the button sends along.
    expected_total_cents = WholeNumberField(widget=forms.HiddenInput, required=False)

    def is_valid_to_work_out(self) -> bool:
        """Tell whether the figures can be worked out, be it without a reason yet."""
        return not set(self.errors) - {"reason", "expected_total_cents", "__all__"}


class GoodsBackFields(WorkedOutForm):
    """What of goods handed over came back: how much of each, where it is, and whether it is fit."""

    returned_on = DayField(label=_("Came back on"), initial=timezone.localdate, required=False)

    def add_goods(self, goods: Sequence[FulfilmentLine]) -> None:
        """Ask for each of these goods that are still out."""
        self._goods = [row for row in goods if row.order_line.is_stocked and still_out(row)]
        for row in self._goods:
            out, is_honey = still_out(row), row.order_line.kind == OrderLine.Kind.HONEY
            if row.lot is not None and row.lot.is_weighed:
                self.fields[f"back_{row.pk}"] = WeightField(
                    label=_("Came back"),
                    required=False,
                    help_text=_("Empty if nothing came back. %(out)s %(unit)s are with the buyer.")
                    % {"out": as_typed(round(in_units(out), 3)), "unit": unit_word()},
                )
            else:
                self.fields[f"back_{row.pk}"] = WholeNumberField(
                    label=_("Came back"),
                    required=False,
                    min_value=0,
                    help_text=_("Empty if nothing came back. %(out)s are with the buyer.")
                    % {"out": out},
                )
            kinds = Place.VESSELS if is_honey else Place.FOR_GOODS
            self.fields[f"place_{row.pk}"] = forms.ModelChoiceField(
                label=_("To"),
                queryset=Place.objects.filter(kind__in=kinds, is_active=True),
                required=False,
                # Honey may be in the drum it left in, which is out of use while it is away.
                empty_label=vessel_of(row.order_line).name if is_honey else _("choose a place"),
            )
            self.fields[f"fit_{row.pk}"] = forms.ChoiceField(
                label=_("Fit to sell?"),
                choices=[("yes", _("fit to sell")), ("no", _("not fit to sell"))],
                initial="yes",
                required=False,
            )

    def goods_fields(self, row: FulfilmentLine) -> list[BoundField]:
        names = (f"back_{row.pk}", f"place_{row.pk}", f"fit_{row.pk}")
        return [self[name] for name in names if name in self.fields]

    @property
    def has_goods(self) -> bool:
        return bool(self._goods)

    @property
    def goods_back(self) -> list[GoodsBack]:
        """What was said to have come back."""
        return [
            GoodsBack(
                row,
                self.cleaned_data[f"back_{row.pk}"],
                self.cleaned_data[f"place_{row.pk}"],
                self.cleaned_data[f"fit_{row.pk}"] != "no",
            )
            for row in self._goods
            if self.cleaned_data.get(f"back_{row.pk}")
        ]

    def field_of(self, parameter: str | None) -> str | None:
        found = re.fullmatch(r"goods_back\.(\d+)\.(quantity|place)", parameter or "")
        if found:
            row = self.goods_back[int(found[1])].goods
            return super().field_of(f"{'back' if found[2] == 'quantity' else 'place'}_{row.pk}")
        return super().field_of(parameter)


@dataclass(frozen=True)
class CreditRow:
    """One line of an invoice of which something is left, with its fields."""

    left: Left
    fields: list[BoundField]
    goods: list[BoundField]

    @property
    def line(self) -> InvoiceLine:
        return self.left.line


class CreditForm(GoodsBackFields):
    """What of each line is credited: all that is left, unless told otherwise."""

    reason = forms.CharField(
        label=_("Why is it credited?"),
        max_length=300,
        help_text=_("It is printed on the credit note."),
    )
    sends_again = forms.BooleanField(
        label=_("Send these goods again"),
        required=False,
        help_text=_("The order is to fill again, and as many are reserved for it."),
    )

    def __init__(self, *args, left: Sequence[Left], may_send_again: bool, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.left = left
        if not may_send_again:
            del self.fields["sends_again"]
        for each in left:
            pk = each.line.pk
            self.fields[f"way_{pk}"] = forms.ChoiceField(
                label=_("Credit"), choices=WAYS, initial=GOODS, required=False
            )
            self.fields[f"quantity_{pk}"] = NumberField(
                label=_("How many"),
                required=False,
                max_digits=14,
                decimal_places=3,
                initial=plain(each.quantity),
            )
            self.fields[f"price_off_{pk}"] = NumberField(
                label=_("Off the price of each"), required=False, max_digits=12, decimal_places=4
            )
            self.fields[f"allowance_cents_{pk}"] = MoneyField(label=_("Amount"), required=False)
        self.add_goods([each.line.fulfilment_line for each in left if each.line.fulfilment_line])
        if not self._goods:
            del self.fields["returned_on"]

    @property
    def lines(self) -> list[LineCredit]:
        """What is to be credited, line by line."""
        data, found = self.cleaned_data, []
        for each in self.left:
            pk, way = each.line.pk, data.get(f"way_{each.line.pk}")
            quantity = data.get(f"quantity_{pk}")
            if way == GOODS:
                found.append(LineCredit(each.line, quantity=quantity))
            elif way == PRICE:
                price_off = data.get(f"price_off_{pk}") or Decimal(0)
                found.append(LineCredit(each.line, quantity=quantity, price_off=price_off))
            elif way == ALLOWANCE:
                cents = data.get(f"allowance_cents_{pk}") or 0
                found.append(LineCredit(each.line, allowance_cents=cents))
        return found

    def field_of(self, parameter: str | None) -> str | None:
        found = re.fullmatch(r"lines\.(\d+)\.(\w+)", parameter or "")
        if found:
            return super().field_of(f"{found[2]}_{self.lines[int(found[1])].line.pk}")
        return super().field_of(parameter)

    def rows(self) -> list[CreditRow]:
        """Return each line of which something is left, with its fields."""
        names = ("way", "quantity", "price_off", "allowance_cents")
        return [
            CreditRow(
                each,
                [self[f"{name}_{each.line.pk}"] for name in names],
                self.goods_fields(each.line.fulfilment_line) if each.line.fulfilment_line else [],
            )
            for each in self.left
        ]


class BilledGoodsBackForm(GoodsBackFields):
    """Goods that came back after they were billed, without a credit note."""

    reason = forms.CharField(label=_("Why do they come back?"), max_length=300)

    def __init__(self, *args, goods: Sequence[FulfilmentLine], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.add_goods(goods)

    def rows(self) -> list[tuple[FulfilmentLine, list[BoundField]]]:
        return [(row, self.goods_fields(row)) for row in self._goods]


class CorrectForm(WorkedOutForm):
    """What is different on the corrected copy of an invoice."""

    reason = forms.CharField(
        label=_("What was wrong?"),
        max_length=300,
        help_text=_("It is printed on the credit note and on the corrected invoice."),
    )
    customer_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)

    def __init__(self, *args, lines: Sequence[Left], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._lines = [each.line for each in lines]
        self._quantities = [each.line.as_printed(each.quantity) for each in lines]
        for each in lines:
            line = each.line
            self.fields[f"unit_price_{line.pk}"] = NumberField(
                label=_("Price of one"),
                max_digits=12,
                decimal_places=4,
                min_value=0,
                initial=plain(line.unit_price),
            )
            self.fields[f"discount_cents_{line.pk}"] = MoneyField(
                label=_("Discount"), required=False, initial=max(0, each.discount_cents)
            )
            self.fields[f"is_left_out_{line.pk}"] = forms.BooleanField(
                label=_("Leave this line out"), required=False
            )

    @property
    def changes(self) -> dict[int, LineChange]:
        data = self.cleaned_data
        return {
            line.pk: LineChange(
                unit_price=data[f"unit_price_{line.pk}"],
                discount_cents=data[f"discount_cents_{line.pk}"] or 0,
                is_left_out=data[f"is_left_out_{line.pk}"],
            )
            for line in self._lines
        }

    def field_of(self, parameter: str | None) -> str | None:
        found = re.fullmatch(r"changes\.(\d+)\.(\w+)", parameter or "")
        return super().field_of(f"{found[2]}_{found[1]}" if found else parameter)

    def rows(self) -> list[tuple[InvoiceLine, str, list[BoundField]]]:
        """Each line with the quantity that is billed of it, and its fields."""
        names = ("unit_price", "discount_cents", "is_left_out")
        return [
            (line, quantity, [self[f"{name}_{line.pk}"] for name in names])
            for line, quantity in zip(self._lines, self._quantities, strict=True)
        ]

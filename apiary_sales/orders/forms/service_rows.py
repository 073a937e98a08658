"""Rows of a form for services: which, how much of it, and at what price."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.forms.lines import LinesForm, PriceField
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import Service
from inventory.shared import words
from inventory.shared.forms.fields import NumberField, offer_the_same

ROWS = 3


@dataclass(frozen=True)
class ServiceRow:
    """The fields of one service."""

    service: BoundField
    amount: BoundField
    price: BoundField


class ServiceChoiceField(forms.ModelChoiceField):
    """A service in use, with its unit and usual price."""

    def __init__(self, **kwargs) -> None:
        super().__init__(
            queryset=Service.objects.filter(is_active=True),
            required=False,
            empty_label="–",
            **kwargs,
        )

    def label_from_instance(self, obj: Service) -> str:
        if obj.usual_price is None:
            return f"{obj.name} ({obj.get_unit_display()})"
        return f"{obj.name} ({words.unit_price(obj.usual_price)}, {obj.get_unit_display()})"


def add_fields(form: LinesForm) -> None:
    for row in range(ROWS):
        form.fields[f"service_{row}"] = ServiceChoiceField(label=_("Service"))
        form.fields[f"service_amount_{row}"] = NumberField(
            label=_("How much"), required=False, min_value=0, max_digits=9, decimal_places=2
        )
        form.fields[f"service_price_{row}"] = PriceField(label=_("Another price of one unit"))
    offer_the_same(form.fields[f"service_{row}"] for row in range(ROWS))


def rows_of(form: LinesForm) -> list[ServiceRow]:
    """Return the rows to show; none while there are no services."""
    if not Service.objects.filter(is_active=True).exists():
        return []
    return [
        ServiceRow(*(form[f"service{name}_{row}"] for name in ("", "_amount", "_price")))
        for row in range(ROWS)
    ]


def add_lines(form: LinesForm, data: dict[str, Any]) -> None:
    """Add a line for each row that names a service; say what is missing in one half empty."""
    for row in range(ROWS):
        service, amount = data.get(f"service_{row}"), data.get(f"service_amount_{row}")
        if service is None and amount:
            form.add_error(f"service_{row}", gettext("Choose the service."))
        elif service is not None and not amount and f"service_amount_{row}" not in form.errors:
            form.add_error(f"service_amount_{row}", gettext("Enter how much of it."))
        elif service is not None and amount:
            _add_line(form, service, amount, row, data)


def _add_line(
    form: LinesForm, service: Service, amount: Decimal, row: int, data: dict[str, Any]
) -> None:
    price = data.get(f"service_price_{row}")
    if price is None:
        price = service.usual_price
    if price is None:
        form.unpriced.append(service.name)
        form.add_error(
            f"service_price_{row}",
            gettext("%(service)s has no usual price. Enter one.") % {"service": service.name},
        )
        return
    form.add_line(
        LineWanted(
            OrderLine.Kind.SERVICE, service_units.hundredths(amount), price, service=service
        ),
        quantity=f"service_amount_{row}",
        service=f"service_{row}",
        unit_price=f"service_price_{row}",
    )

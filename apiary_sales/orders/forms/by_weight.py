"""Rows of the order form for honey and goods that are sold by weight."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.forms.lines import LinesForm, PriceField
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries.by_weight import WeightOffer
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.weighing import Weighed
from inventory.physics.units import GALLON_LITRES, GRAMS, round_grams
from inventory.shared import conventions, words
from inventory.shared.forms.fields import NumberField, metric_first
from inventory.shared.weights import by_unit, unit_name
from inventory.stock.density import REFERENCE_CELSIUS

ROWS = 3
VOLUMES = {"gal": GALLON_LITRES, "L": Decimal(1)}
UNITS = [
    ("lb", _("lb")),
    ("kg", _("kg")),
    ("gal", _("gal at 68 °F")),
    ("L", _("L at 20 °C")),
]


def units_in_order() -> list[tuple[str, Any]]:
    """Return the units, in a metric house the metric ones first."""
    return metric_first(UNITS)


@dataclass(frozen=True)
class WeightRow:
    """The fields of one thing sold by weight."""

    what: BoundField
    amount: BoundField
    unit: BoundField
    price: BoundField


def add_fields(form: LinesForm, offers: Sequence[WeightOffer]) -> None:
    choices = [("", "–"), *((offer.key, in_words(offer)) for offer in offers)]
    for row in range(ROWS if offers else 0):
        form.fields[f"weight_what_{row}"] = forms.ChoiceField(
            label=_("What"), required=False, choices=choices
        )
        form.fields[f"weight_amount_{row}"] = NumberField(
            label=_("How much"), required=False, min_value=0, max_digits=9, decimal_places=2
        )
        form.fields[f"weight_unit_{row}"] = forms.ChoiceField(
            label=_("Unit"), required=False, choices=units_in_order
        )
        form.fields[f"weight_price_{row}"] = PriceField(
            label=by_unit(_("Another price per {unit}"))
        )


def rows_of(form: LinesForm) -> list[WeightRow]:
    return [
        WeightRow(*(form[f"weight_{name}_{row}"] for name in ("what", "amount", "unit", "price")))
        for row in range(ROWS)
        if f"weight_what_{row}" in form.fields
    ]


def add_lines(form: LinesForm, offers: Sequence[WeightOffer], data: dict[str, Any]) -> None:
    """Add a line for each row that is filled in; say what is missing in one that is half empty."""
    by_key = {offer.key: offer for offer in offers}
    for row in range(ROWS):
        offer = by_key.get(data.get(f"weight_what_{row}", ""))
        amount = data.get(f"weight_amount_{row}")
        if offer is None and amount:
            form.add_error(f"weight_what_{row}", gettext("Choose what is sold by weight."))
        if offer is None or not amount:
            continue
        _add_line(form, offer, amount, row, data)


def _add_line(
    form: LinesForm, offer: WeightOffer, amount: Decimal, row: int, data: dict[str, Any]
) -> None:
    unit, price = (
        data.get(f"weight_unit_{row}") or conventions.current().weight_unit,
        data.get(f"weight_price_{row}"),
    )
    if price is None:
        price = offer.price_per_pound
    if price is None:
        form.unpriced.append(offer.name)
        form.add_error(
            f"weight_price_{row}",
            gettext("%(what)s has no price per %(unit)s for this customer. Enter one.")
            % {"what": offer.name, "unit": unit_name()},
        )
        return
    if unit not in VOLUMES:
        grams = round_grams(amount * GRAMS[unit])
        line = line_of(offer, Weighed(grams), price)
    elif offer.lot is None:
        form.add_error(f"weight_unit_{row}", gettext("Only honey can be sold by volume."))
        return
    else:
        weighed = weighing.by_volume(
            amount * VOLUMES[unit], lot=offer.lot, celsius=REFERENCE_CELSIUS
        )
        line = line_of(offer, weighed, price, description=_by_the_gallon(offer, weighed))
    form.add_line(
        line,
        quantity=f"weight_amount_{row}",
        drum=f"weight_what_{row}",
        product=f"weight_what_{row}",
        unit_price=f"weight_price_{row}",
    )


def _by_the_gallon(offer: WeightOffer, weighed: Weighed) -> str:
    """Name a line ordered by volume: what the gallons weigh, and how far that can be off."""
    litres = Decimal(weighed.millilitres or 0) / 1000
    return gettext("%(what)s, ordered as %(gallons)s at 68 °F (%(weight)s ± %(wrong_by)s)") % {
        "what": offer.name,
        "gallons": words.volume(litres, 2),
        "weight": words.weight(weighed.net_grams, 1),
        "wrong_by": words.weight(weighed.uncertainty_grams or 0, 1),
    }


def line_of(
    offer: WeightOffer, weighed: Weighed, price: Decimal, *, description: str = ""
) -> LineWanted:
    """Return the order line that sells so much of an offer."""
    is_honey = offer.vessel is not None
    return LineWanted(
        OrderLine.Kind.HONEY if is_honey else OrderLine.Kind.WEIGHED,
        weighed.net_grams,
        price,
        product=offer.product,
        drum=offer.vessel,
        description=description or (offer.name if is_honey else ""),
        is_drawn=is_honey,
        weighed=weighed,
    )


def in_words(offer: WeightOffer) -> str:
    """Write an offer as a list of choices shows it, with what is free and the price."""
    free = gettext("%(free)s free") % {"free": words.weight(offer.free_grams)}
    price = offer.price_per_pound
    if price is None:
        return f"{offer.name} ({free}, {gettext('no price')})"
    return f"{offer.name} ({free}, {words.price_by_weight(price)})"

"""Forms that change an order or a quote: its lines, what is added, its details, a substitution."""

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import DeliveryAddress
from apiary_sales.orders.forms import by_weight, service_rows
from apiary_sales.orders.forms.lines import (
    LinesForm,
    PriceField,
    note_field,
    over_limit_field,
    po_number_field,
    ship_to_field,
)
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import drums
from apiary_sales.orders.queries.by_weight import offers
from apiary_sales.orders.queries.stock import ProductForSale
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.changes import OrderLineChange, state_of
from apiary_sales.orders.rules.lines import LineWanted, is_whole_drum
from apiary_sales.pricing.queries import prices
from inventory.bottling.models import Product
from inventory.physics.units import round_grams
from inventory.shared import conventions, words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, WholeNumberField
from inventory.shared.weights import by_unit, in_units, unit_grams, unit_name, units_name
from inventory.stock.forms.fields import moisture_is_right_field

ROWS = 3
LINE_FIELDS = ("quantity", "price", "discount", "reason")


@dataclass(frozen=True)
class LineRow:
    """One line of the order and the fields that change it."""

    line: OrderLine
    quantity: BoundField
    price: BoundField
    discount: BoundField
    reason: BoundField


@dataclass(frozen=True)
class NewRow:
    """The fields of one product or drum that is added."""

    what: BoundField
    pieces: BoundField | None
    price: BoundField


class OrderChangeForm(LinesForm):
    """Every line of an order with its quantity and price, rows to add more, and the details."""

    wanted_on = DayField(label=_("Delivery day"), required=False)
    valid_until = DayField(label=_("Valid until"))
    customer_reference = po_number_field()
    ship_to = ship_to_field()
    note = note_field()
    over_limit = over_limit_field()
    moisture_is_right = moisture_is_right_field()
    seen = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args, order: Order, products: list[ProductForSale], **kwargs) -> None:
        self._order, self._lines_there = order, list(order.lines.all())
        kwargs["initial"] = {
            "wanted_on": order.wanted_on,
            "valid_until": order.valid_until,
            "customer_reference": order.customer_reference,
            "ship_to": order.ship_to_id,
            "note": order.note,
            "seen": state_of(order, self._lines_there),
            **(kwargs.get("initial") or {}),
        }
        super().__init__(*args, **kwargs)
        if not order.is_quote:
            del self.fields["valid_until"]
        field = cast(forms.ModelChoiceField, self.fields["ship_to"])
        field.queryset = DeliveryAddress.objects.filter(customer=order.customer, is_active=True)
        self._changes: list[OrderLineChange] = []
        for line in self._lines_there:
            self._add_line_fields(line)
        today = timezone.localdate()
        tier = order.customer.tier if order.customer else ""
        self._price_list = prices.price_list(tier, today)
        offered = {each.product.pk for each in self._price_list.offered_to(order.customer)}
        self._products = {
            str(row.product.pk): row.product for row in products if row.product.pk in offered
        }
        free = {str(row.product.pk): row.stock.free for row in products}
        self._add_new_fields("product", self._named(self._products, free))
        sells_drums = order.channel == Order.Channel.BULK
        self._drums = {str(each.drum.pk): each for each in drums.free_drums(today)}
        if sells_drums:
            there = {line.drum_id for line in self._lines_there}
            self._drums = {
                key: each for key, each in self._drums.items() if each.drum.pk not in there
            }
            self._add_new_fields("drum", [(key, drum_words(x)) for key, x in self._drums.items()])
        self._offers = offers(None, today, tier=tier)
        by_weight.add_fields(self, self._offers)
        service_rows.add_fields(self)

    def _add_line_fields(self, line: OrderLine) -> None:
        key, what = line.pk, {"what": line.description}
        self.fields[f"quantity_{key}"] = _quantity_field(line)
        self.fields[f"price_{key}"] = PriceField(
            label=by_unit(_("Price per {lb}")) if line.is_by_weight else _("Price of one"),
            required=True,
        )
        self.fields[f"discount_{key}"] = MoneyField(
            label=gettext("%(what)s: discount") % what, required=False
        )
        self.fields[f"reason_{key}"] = forms.CharField(
            label=_("Why the price is another"), required=False, max_length=200
        )
        self.initial.update(
            {
                f"quantity_{key}": _shown(line),
                f"price_{key}": line.unit_price,
                f"discount_{key}": line.discount_cents or None,
            }
        )

    def _named(self, products: dict[str, Product], free: dict[str, int]) -> list[tuple[str, str]]:
        return [
            (key, gettext("%(product)s (%(free)s free)") % {"product": x.name, "free": free[key]})
            for key, x in products.items()
        ]

    def _add_new_fields(self, kind: str, choices: list[tuple[str, str]]) -> None:
        for row in range(ROWS if choices else 0):
            self.fields[f"new_{kind}_{row}"] = forms.ChoiceField(
                label=_("Drum") if kind == "drum" else _("Product"),
                required=False,
                choices=[("", "–"), *choices],
            )
            if kind == "product":
                self.fields[f"new_pieces_{row}"] = WholeNumberField(
                    label=_("Pieces"), required=False, min_value=0
                )
            self.fields[f"new_{kind}_price_{row}"] = PriceField(
                label=by_unit(_("Another price per {unit}"))
                if kind == "drum"
                else _("Another price")
            )

    def line_rows(self) -> list[LineRow]:
        return [
            LineRow(
                line,
                *(
                    self[f"{name}_{line.pk}"]
                    for name in ("quantity", "price", "discount", "reason")
                ),
            )
            for line in self._lines_there
        ]

    def new_rows(self) -> list[NewRow]:
        return [
            NewRow(
                self[f"new_{kind}_{row}"],
                self[f"new_pieces_{row}"] if kind == "product" else None,
                self[f"new_{kind}_price_{row}"],
            )
            for kind in ("product", "drum")
            for row in range(ROWS)
            if f"new_{kind}_{row}" in self.fields
        ]

    def weight_rows(self) -> list[by_weight.WeightRow]:
        return by_weight.rows_of(self)

    def service_rows(self) -> list[service_rows.ServiceRow]:
        return service_rows.rows_of(self)

    @property
    def has_new_rows(self) -> bool:
        return self._is_typed("new_")

    @property
    def has_weight_rows(self) -> bool:
        return self._is_typed("weight_what_") or self._is_typed("weight_amount_")

    @property
    def has_service_rows(self) -> bool:
        return self._is_typed("service_")

    def _is_typed(self, start: str) -> bool:
        return any(self[name].value() for name in self.fields if name.startswith(start))

    @property
    def changes(self) -> list[OrderLineChange]:
        return self._changes

    @property
    def details(self) -> dict[str, Any]:
        """Return what is agreed beside the lines, for the service."""
        names = ("wanted_on", "valid_until", "customer_reference", "ship_to", "note")
        return {name: self.cleaned_data[name] for name in names if name in self.cleaned_data}

    def clean(self):
        data = super().clean()
        for line in self._lines_there:
            if change := self._change_of(line, data):
                self._changes.append(change)
        for row in range(ROWS):
            self._add_product(row, data)
            self._add_drum(row, data)
        by_weight.add_lines(self, self._offers, data)
        service_rows.add_lines(self, data)
        return data

    def _change_of(self, line: OrderLine, data: dict[str, Any]) -> OrderLineChange | None:
        """Return how a line is changed: only in what was typed anew."""
        key, anew = line.pk, set(self.changed_data)
        typed = {name: data.get(f"{name}_{key}") for name in ("quantity", "price", "discount")}
        is_new = {name: f"{name}_{key}" in anew for name in typed}
        if not any(is_new.values()):
            return None
        return OrderLineChange(
            key,
            quantity=_as_kept(line, typed["quantity"]) if is_new["quantity"] else None,
            unit_price=typed["price"] if is_new["price"] else None,
            discount_cents=(typed["discount"] or 0) if is_new["discount"] else None,
            price_reason=data.get(f"reason_{key}", ""),
        )

    def _add_product(self, row: int, data: dict[str, Any]) -> None:
        product = self._products.get(data.get(f"new_product_{row}", ""))
        pieces, name = data.get(f"new_pieces_{row}"), f"new_product_price_{row}"
        if product is None and pieces:
            self.add_error(f"new_product_{row}", gettext("Choose the product."))
        elif product is not None and not pieces and f"new_pieces_{row}" not in self.errors:
            self.add_error(f"new_pieces_{row}", gettext("Enter how many pieces."))
        if product is None or not pieces:
            return
        price = data.get(name)
        if price is None:
            price = self._price_list.of(product).unit_price(pieces)
        if price is None:
            self.add_error(
                name,
                gettext("%(product)s has no price for this customer. Enter one.")
                % {"product": product.name},
            )
            return
        self.add_line(
            LineWanted(OrderLine.Kind.PACKED, pieces, price, product=product),
            quantity=f"new_pieces_{row}",
            product=f"new_product_{row}",
            unit_price=name,
        )

    def _add_drum(self, row: int, data: dict[str, Any]) -> None:
        offer = self._drums.get(data.get(f"new_drum_{row}", ""))
        if offer is None:
            return
        name = f"new_drum_price_{row}"
        price = data.get(name) if data.get(name) is not None else offer.price_per_pound
        if price is None:
            self.add_error(
                name,
                gettext("Enter a price per %(unit)s for %(drum)s.")
                % {"drum": offer.drum.name, "unit": unit_name()},
            )
            return
        self.add_line(
            LineWanted(OrderLine.Kind.HONEY, offer.grams, price, drum=offer.drum, lot=offer.lot),
            quantity=f"new_drum_{row}",
            drum=f"new_drum_{row}",
            unit_price=name,
        )

    def field_of(self, parameter: str | None) -> str | None:
        place = re.fullmatch(r"changes\.(\d+)\.(\w+)", parameter or "")
        if place is None:
            return None if parameter == "seen" else super().field_of(parameter)
        names = {"unit_price": "price", "discount_cents": "discount", "price_reason": "reason"}
        name = names.get(place[2], "quantity")
        return f"{name}_{self._changes[int(place[1])].line}"


class SubstituteForm(ActForm):
    """What takes the place of a line: a product and how many, or a drum; the price, and why."""

    what = forms.ChoiceField(label=_("Put in its place"))
    quantity = WholeNumberField(label=_("Pieces"), min_value=1)
    unit_price = PriceField(label=_("Price of one"))
    reason = forms.CharField(label=_("Why"), max_length=200)
    over_limit = over_limit_field()
    moisture_is_right = moisture_is_right_field()
    seen = forms.CharField(widget=forms.HiddenInput)

    fields_of_parameters = {"product": "what", "drum": "what"}

    def __init__(
        self, *args, order: Order, line: OrderLine, products: list[ProductForSale], **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self._line = line
        self._goods: dict[str, dict[str, Any]]
        self.fields["seen"].initial = state_of(order, order.lines.all())
        self.fields["unit_price"].initial = line.unit_price
        if is_whole_drum(line):
            free = drums.free_drums(timezone.localdate())
            self._goods = {str(each.drum.pk): {"drum": each.drum} for each in free}
            choices = [(str(each.drum.pk), drum_words(each)) for each in free]
            del self.fields["quantity"]
        else:
            there = _for_sale(line, products)
            self._goods = {str(product.pk): {"product": product} for product, _free in there}
            choices = [
                (
                    str(product.pk),
                    gettext("%(product)s (%(free)s free)")
                    % {"product": product.name, "free": free},
                )
                for product, free in there
            ]
            self.fields["quantity"] = _quantity_field(line)
            self.fields["quantity"].initial = (
                pounds_shown(line.to_fill) if line.is_by_weight else line.to_fill
            )
        if line.is_by_weight:
            self.fields["unit_price"].label = by_unit(_("Price per {lb}"))
        elif any(
            "product" in goods and goods["product"].item.is_weighed
            for goods in self._goods.values()
        ):
            self.fields["quantity"].label = by_unit(_("Pieces, or {units} of goods by weight"))
            self.fields["unit_price"].label = by_unit(
                _("Price of one, or per {lb} of goods by weight")
            )
        cast(forms.ChoiceField, self.fields["what"]).choices = [("", "–"), *choices]

    @property
    def goods(self) -> dict[str, Any]:
        """Return the product or the drum, and how many of it, for the service."""
        goods = self._goods[self.cleaned_data["what"]]
        if "quantity" not in self.fields:
            return goods
        typed = self.cleaned_data["quantity"]
        if typed is not None and goods["product"].item.is_weighed:
            return goods | {"quantity": round_grams(typed * unit_grams())}
        return goods | {"quantity": _as_kept(self._line, typed)}

    def field_of(self, parameter: str | None) -> str | None:
        return None if parameter == "seen" else super().field_of(parameter)


def _for_sale(line: OrderLine, products: list[ProductForSale]) -> list[tuple[Product, str]]:
    """Return what is counted as the goods of a line and may take their place, and what is free."""
    if line.is_by_weight:
        goods = offers(None, timezone.localdate())
        there = [(each.product, words.weight(each.free_grams)) for each in goods if each.product]
    else:
        there = [(row.product, _free_words(row)) for row in products]
    return [(product, free) for product, free in there if product.pk != line.product_id]


def _free_words(row: ProductForSale) -> str:
    """Write what is free of a product: pounds of what is kept by weight, pieces of the rest."""
    free = row.stock.free
    return words.weight(free) if row.product.item.is_weighed else words.number(free)


def drum_words(offer: drums.DrumOffer) -> str:
    """Write a free drum as a list of choices shows it."""
    what = f"{offer.drum.name}: {offer.lot.floral_source}, {words.weight(offer.grams)}"
    if offer.price_per_pound is None:
        return what
    return f"{what}, {words.price_by_weight(offer.price_per_pound)}"


def pounds_shown(grams: int) -> Decimal:
    """Return grams as a field for the house's unit shows them; a kilogram has three decimals."""
    return round(in_units(grams), 3 if conventions.current().is_metric else 2)


def _weight_label() -> str:
    name = units_name()
    return name[:1].upper() + name[1:]


def _quantity_field(line: OrderLine) -> forms.Field:
    if is_whole_drum(line):
        return forms.BooleanField(label=_("Take this drum off"), required=False)
    if line.is_by_weight:
        return NumberField(label=_weight_label(), min_value=0, max_digits=9, decimal_places=3)
    if line.kind == OrderLine.Kind.SERVICE:
        return NumberField(label=_("How much"), min_value=0, max_digits=9, decimal_places=2)
    label = _("Pieces") if line.kind == OrderLine.Kind.PACKED else _("Number")
    return WholeNumberField(label=label, min_value=0)


def _shown(line: OrderLine) -> Any:
    """Return the quantity of a line as its field shows it."""
    if is_whole_drum(line):
        return False
    if line.is_by_weight:
        return pounds_shown(line.quantity)
    if line.kind == OrderLine.Kind.SERVICE:
        return service_units.amount(line.quantity)
    return line.quantity


def _as_kept(line: OrderLine, typed: Any) -> int | None:
    """Return a quantity that was typed in what the line is counted in."""
    if typed is None:
        return None
    if is_whole_drum(line):
        return 0 if typed else None
    if line.is_by_weight:
        return round_grams(typed * unit_grams())
    if line.kind == OrderLine.Kind.SERVICE:
        return service_units.hundredths(typed)
    return int(typed)

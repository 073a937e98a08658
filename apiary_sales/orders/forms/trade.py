"""Forms of consignment, contracts, standing orders and delivery rounds."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.fields import CustomerField
from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.orders.forms.lines import (
    PriceField,
    note_field,
    offer_drums_as,
    over_limit_field,
)
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries.consignments import ShelfContents, ShelfLot
from apiary_sales.orders.queries.contracts import DrumForContract
from apiary_sales.orders.queries.standing_orders import Proposal
from apiary_sales.orders.rules.contracts import PriceStep
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services.rounds import Brought
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    StandingOrder,
    StandingOrderLine,
)
from inventory.bottling.models import Product
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    ActDayField,
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
)
from inventory.shared.models import House
from inventory.shared.weights import by_unit, unit_name
from inventory.stock.forms.fields import moisture_is_right_field
from inventory.stock.forms.stores import StoreField
from inventory.stock.models import Lot

# So many prices of a contract, each from a weight on, have a row beside the first one.
MORE_STEPS = 3


def customer_field(label: Any) -> CustomerField:
    return CustomerField(
        label=label,
        empty_label=_("Choose the customer"),
        error_messages={"required": _("Choose the customer.")},
    )


class PiecesForm(ActForm):
    """A form with a number of pieces for each of some products."""

    def add_products(
        self,
        products: Iterable[Product],
        *,
        notes: dict[int, str] | None = None,
        pieces: dict[int, int] | None = None,
    ) -> None:
        """Add a field for each product; `notes` and `pieces` are by the key of the product."""
        self._products = list(products)
        for product in self._products:
            self.fields[f"pieces_{product.pk}"] = WholeNumberField(
                label=product.name,
                required=False,
                min_value=0,
                help_text=(notes or {}).get(product.pk, ""),
                initial=(pieces or {}).get(product.pk),
            )
            self.fields[f"pieces_{product.pk}"].is_one_of_several = True  # type: ignore[attr-defined]

    @property
    def has_products(self) -> bool:
        return bool(self._products)

    @property
    def lines(self) -> list[PiecesWanted]:
        return [
            PiecesWanted(product, self.cleaned_data[f"pieces_{product.pk}"])
            for product in self._products
            if self.cleaned_data.get(f"pieces_{product.pk}")
        ]

    def field_of(self, parameter: str | None) -> str | None:
        parts = (parameter or "").split(".")
        if parts[0] == "lines" and len(parts) == 3:
            return super().field_of(f"pieces_{self.lines[int(parts[1])].product.pk}")
        return super().field_of(parameter)


class ShelfForm(ActForm):
    """A shelf for jars on consignment at a customer's."""

    customer = customer_field(_("Customer"))
    name = forms.CharField(
        label=_("Name of the shelf"),
        max_length=80,
        required=False,
        help_text=_("Leave empty to use the customer's name."),
    )


class ConsignmentPriceForm(ActForm):
    """What the shop pays for a piece that it sold."""

    product = forms.ModelChoiceField(
        label=_("Product"), queryset=Product.objects.none(), empty_label=_("Choose the product")
    )
    unit_price = PriceField(label=_("Price for one piece, before tax"), required=True)
    valid_from = DayField(label=_("From"), initial=timezone.localdate)

    def __init__(self, *args: Any, products: Sequence[Product], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ModelChoiceField, self.fields["product"]).queryset = Product.objects.filter(
            pk__in=[product.pk for product in products]
        )


class ConsignmentDeliveryForm(PiecesForm):
    """Jars for the shelf of a shop: carried already, or planned for a round."""

    planned_on = DayField(label=_("Day"), initial=timezone.localdate)
    is_there = forms.BooleanField(
        label=_("They are on the shelf already"),
        required=False,
        help_text=_("Leave it empty to plan the delivery, for a round or another day."),
    )
    note = note_field()

    def __init__(
        self, *args: Any, products: Sequence[Product], free: dict[int, int], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        notes = {
            product.pk: gettext("%(free)s free")
            % {"free": words.pieces(free.get(product.item_id, 0))}
            for product in products
        }
        self.add_products(products, notes=notes)
        self.order_fields([*(f"pieces_{product.pk}" for product in products)])

    fields_of_parameters = {"delivered_on": "planned_on"}


class DeliveredForm(ActForm):
    delivered_on = ActDayField()


class BringBackForm(ActForm):
    """Pieces of lots that come back from the shelf of a shop."""

    target = StoreField(label=_("Bring them to"))
    brought_on = ActDayField()
    note = note_field()

    def __init__(self, *args: Any, rows: Sequence[ShelfLot], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._rows = list(rows)
        for row in self._rows:
            self.fields[self._name(row.lot)] = WholeNumberField(
                label=gettext("%(product)s, lot %(lot)s")
                % {"product": row.product.name, "lot": row.lot.code},
                required=False,
                min_value=0,
                help_text=gettext("%(pieces)s on the shelf") % {"pieces": words.pieces(row.pieces)},
            )
            self.fields[self._name(row.lot)].is_one_of_several = True  # type: ignore[attr-defined]
        self.order_fields([self._name(row.lot) for row in self._rows])

    @staticmethod
    def _name(lot: Lot) -> str:
        return f"lot_{lot.pk}"

    @property
    def lots(self) -> list[tuple[Lot, int]]:
        return [
            (row.lot, self.cleaned_data[self._name(row.lot)])
            for row in self._rows
            if self.cleaned_data.get(self._name(row.lot))
        ]

    def field_of(self, parameter: str | None) -> str | None:
        parts = (parameter or "").split(".")
        if parts[0] == "lots" and len(parts) == 3:
            return super().field_of(self._name(self.lots[int(parts[1])][0]))
        return super().field_of(parameter)


class ConsignmentReportForm(PiecesForm):
    """What a shop reports it sold."""

    sold_from = DayField(label=_("Sold from"))
    sold_until = DayField(label=_("Sold until"), initial=timezone.localdate)
    reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)

    def __init__(self, *args: Any, contents: ShelfContents, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        prices = {row.product.pk: row.unit_price for row in contents.rows}
        notes = {}
        for product, pieces in contents.by_product.items():
            price = prices[product.pk]
            figures = {"pieces": words.pieces(pieces), "price": ""}
            sentence = gettext("%(pieces)s on the shelf, no price agreed")
            if price is not None:
                figures["price"] = words.unit_price(price)
                sentence = gettext("%(pieces)s on the shelf, %(price)s each")
            notes[product.pk] = sentence % figures
        self.add_products(contents.by_product, notes=notes)


class ContractForm(ActForm):
    """Honey in drums that a buyer takes over a time."""

    customer = customer_field(_("Buyer"))
    customer_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)
    min_grams = WeightField(label=_("At least"), required=False)
    max_grams = WeightField(label=_("At most"))
    unit_price = PriceField(label=by_unit(_("Price for one {unit}, before tax")), required=True)
    starts_on = DayField(label=_("From"), initial=timezone.localdate)
    ends_on = DayField(label=_("Until"))
    colour_class = forms.ChoiceField(label=_("This colour class or lighter"), required=False)
    moisture_percent_max = NumberField(
        label=_("Moisture up to, %"),
        required=False,
        min_value=10,
        max_value=30,
        max_digits=4,
        decimal_places=2,
    )
    floral_source = forms.CharField(label=_("Floral source"), max_length=120, required=False)
    note = note_field()

    fields_of_parameters = {"price_steps": "unit_price", "price_steps.0.unit_price": "unit_price"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        colours = cast(forms.ChoiceField, self.fields["colour_class"])
        colours.choices = [
            ("", _("any")),
            *((name, words.colour(name)) for name in COLOUR_CLASSES),
        ]
        for number in range(1, MORE_STEPS + 1):
            figures = {"number": number}
            self.fields[f"step_{number}"] = WeightField(
                label=gettext("Price %(number)s: in a call-off from") % figures, required=False
            )
            self.fields[f"step_price_{number}"] = PriceField(
                label=gettext("Price %(number)s: for one %(unit)s")
                % {**figures, "unit": unit_name()}
            )

    def step_rows(self) -> list[tuple[Any, Any]]:
        return [
            (self[f"step_{number}"], self[f"step_price_{number}"])
            for number in range(1, MORE_STEPS + 1)
        ]

    @property
    def price_steps(self) -> list[PriceStep]:
        steps = [PriceStep(0, self.cleaned_data["unit_price"])]
        for number in range(1, MORE_STEPS + 1):
            grams = self.cleaned_data.get(f"step_{number}")
            if grams:
                steps.append(PriceStep(grams, self.cleaned_data[f"step_price_{number}"]))
        return steps

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        for number in range(1, MORE_STEPS + 1):
            grams, price = data.get(f"step_{number}"), data.get(f"step_price_{number}")
            if grams and price is None and f"step_price_{number}" not in self.errors:
                self.add_error(f"step_price_{number}", gettext("Enter the price."))
            elif price is not None and not grams and f"step_{number}" not in self.errors:
                self.add_error(f"step_{number}", gettext("Enter from which weight it counts."))
        return data


class ContractEndForm(ActForm):
    ends_on = DayField(label=_("Last day"))


class SampleForm(ActForm):
    """A sample that the buyer approved."""

    lot = forms.ModelChoiceField(
        label=_("Lot"),
        queryset=Lot.objects.filter(product__isnull=True).order_by("-made_on", "-id"),
        empty_label=_("Choose the lot"),
    )
    approved_on = DayField(label=_("Approved on"), initial=timezone.localdate)
    approved_by = forms.CharField(label=_("Who approved it"), max_length=120)
    note = note_field()


class CallOffForm(ActForm):
    """Drums that the buyer calls off, how the drums go, and freight."""

    drums_as = forms.ChoiceField(label=_("The drums"), widget=forms.RadioSelect)
    freight = MoneyField(label=_("Freight"), required=False)
    wanted_on = DayField(label=_("Wanted on"), required=False)
    customer_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)
    note = note_field()
    beyond_is_right = forms.BooleanField(
        label=_("Take it though it goes beyond the contract"), required=False
    )
    quality_is_right = forms.BooleanField(
        label=_("Take it though a drum is not what was agreed"), required=False
    )
    over_limit = over_limit_field()
    moisture_is_right = moisture_is_right_field()

    def __init__(self, *args: Any, offers: Sequence[DrumForContract], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        drums_as = cast(forms.ChoiceField, self.fields["drums_as"])
        self._each = offer_drums_as(drums_as, House.current())
        self._offers = list(offers)
        self.fields["drums"] = forms.MultipleChoiceField(
            label=_("Drums"),
            choices=[(str(each.offer.drum.pk), each.offer.drum.name) for each in self._offers],
            error_messages={
                "required": _("Tick the drums the buyer gets."),
                "invalid_choice": _("That drum was not found. Open the page again."),
            },
        )

    def rows(self) -> list[tuple[DrumForContract, bool]]:
        """Return each free drum, and whether it is ticked."""
        ticked = set(self["drums"].value() or ())
        return [(each, str(each.offer.drum.pk) in ticked) for each in self._offers]

    @property
    def asked(self) -> list[Any]:
        """The boxes that accept what was warned of, shown once they are asked for."""
        names = ("beyond_is_right", "quality_is_right", "over_limit", "moisture_is_right")
        return [self[name] for name in names if self[name].errors or self[name].value()]

    @property
    def drums(self) -> list[Any]:
        ticked = set(self.cleaned_data["drums"])
        return [each.offer.drum for each in self._offers if str(each.offer.drum.pk) in ticked]

    @property
    def charges(self) -> list[LineWanted]:
        data, lines = self.cleaned_data, []
        if data["drums_as"] in self._each:
            each = Decimal(self._each[data["drums_as"]]) / 100
            lines.append(LineWanted(data["drums_as"], len(self.drums), each))
        if data.get("freight"):
            freight = Decimal(data["freight"]) / 100
            lines.append(LineWanted(OrderLine.Kind.FREIGHT, 1, freight))
        return lines


class StandingOrderForm(PiecesForm):
    """What a customer wants again and again."""

    customer = customer_field(_("Customer"))
    channel = forms.ChoiceField(
        label=_("Kind of order"),
        choices=[
            (Order.Channel.SHOP, _("To a shop")),
            (Order.Channel.DELIVERY, _("Delivery")),
        ],
    )
    rhythm = forms.ChoiceField(label=_("How often"), choices=StandingOrder.Rhythm.choices)
    starts_on = DayField(label=_("First day"), initial=timezone.localdate)
    ends_on = DayField(
        label=_("Until"), required=False, help_text=_("Leave empty if there is no last day.")
    )
    customer_reference = forms.CharField(label=_("Their reference"), max_length=60, required=False)
    note = note_field()

    def __init__(
        self,
        *args: Any,
        products: Sequence[Product],
        lines: Iterable[StandingOrderLine] = (),
        is_new: bool = True,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        if not is_new:
            del self.fields["customer"], self.fields["channel"]
        self.add_products(products, pieces={line.product_id: line.pieces for line in lines})


class ConfirmForm(ActForm):
    """The proposed orders of a day that are taken."""

    over_limit = over_limit_field()

    def __init__(self, *args: Any, proposals: Sequence[Proposal], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._proposals = list(proposals)
        self.fields["due"] = forms.MultipleChoiceField(
            label=_("Orders"),
            choices=[(each.name, str(each.standing)) for each in self._proposals],
            initial=[each.name for each in self._proposals if each.can_be_taken],
            error_messages={
                "required": _("Tick at least one order."),
                "invalid_choice": _("One of these orders was decided already. Look again."),
            },
        )

    def rows(self) -> list[tuple[Proposal, bool]]:
        ticked = set(self["due"].value() or ())
        return [(each, each.name in ticked) for each in self._proposals]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        for each in self.chosen(data):
            for product in each.unpriced:
                self.add_error(
                    "due",
                    gettext("%(product)s has no price for this customer. Enter one.")
                    % {"product": product.name},
                )
        return data

    def chosen(self, data: dict[str, Any]) -> list[Proposal]:
        ticked = set(data.get("due", ()))
        return [each for each in self._proposals if each.name in ticked]

    def field_of(self, parameter: str | None) -> str | None:
        return "due" if (parameter or "").startswith("due") else super().field_of(parameter)


class LeaveOutForm(ActForm):
    due_on = DayField(label=_("Day"))


class RoundForm(ActForm):
    """A day, a vehicle, and a place in the order of stops for each order and delivery."""

    day = DayField(label=_("Day"), initial=timezone.localdate)
    vehicle = forms.CharField(label=_("Vehicle"), max_length=60)
    driver = forms.CharField(label=_("Driver"), max_length=60, required=False)
    note = note_field()

    def __init__(
        self, *args: Any, waiting: Sequence[Brought], on_it: Sequence[Brought] = (), **kwargs: Any
    ) -> None:
        """Offer what waits; what is on the round already has its place filled in."""
        super().__init__(*args, **kwargs)
        self._offered = [*on_it, *waiting]
        for number, each in enumerate(self._offered, 1):
            self.fields[self.name_of(each)] = WholeNumberField(
                label=gettext("%(number)s: stop") % {"number": each.number},
                required=False,
                min_value=1,
                max_value=999,
                initial=number if number <= len(on_it) else None,
            )

    @staticmethod
    def name_of(each: Brought) -> str:
        kind = "delivery" if isinstance(each, ConsignmentDelivery) else "order"
        return f"stop_{kind}_{each.pk}"

    def rows(self) -> list[tuple[Brought, Customer | None, Any, Any]]:
        """Return what can be brought, its customer and address, and the field of its stop."""
        return [
            (each, customer_of(each), address_of(each), self[self.name_of(each)])
            for each in self._offered
        ]

    @property
    def stops(self) -> list[Brought]:
        """What is brought, in the order of the numbers; of two alike, as it is listed."""
        places = {each: self.cleaned_data.get(self.name_of(each)) for each in self._offered}
        return sorted((each for each in places if places[each]), key=lambda each: places[each] or 0)

    def field_of(self, parameter: str | None) -> str | None:
        parts = (parameter or "").split(".")
        if parts[0] == "stops" and len(parts) == 2:
            return super().field_of(self.name_of(self.stops[int(parts[1])]))
        return super().field_of(parameter)


def address_of(each: Brought) -> Customer | DeliveryAddress | None:
    """Return the address that an order or a delivery is brought to."""
    if isinstance(each, ConsignmentDelivery):
        return each.shelf.customer
    return each.deliver_to


def customer_of(each: Brought) -> Customer | None:
    """Return to whom an order or a delivery is brought."""
    if isinstance(each, ConsignmentDelivery):
        return each.shelf.customer
    return each.customer

"""Forms of purchase orders, of bills of suppliers and of their payments."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar, NamedTuple

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as now
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import (
    ExpenseCategory,
    PaidBy,
    PurchaseOrder,
    PurchaseOrderLine,
    SupplierBill,
)
from apiary_sales.billing.queries import purchase_orders
from apiary_sales.billing.queries.purchase_orders import ToBill
from apiary_sales.billing.services.bills import BillPaid, LineBilled
from apiary_sales.billing.services.purchase_orders import LineOrdered
from inventory.bottling.models import PackagingPart, Product
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    MoneyInput,
    NumberField,
    WholeNumberField,
)
from inventory.stock import lot_codes
from inventory.stock.forms.amounts import AmountField, amount_of, as_amount
from inventory.stock.models import Place, Supplier

NOT_NEGATIVE = {"min_value": _("Enter 0 or more.")}


def suppliers() -> Any:
    return Supplier.objects.filter(is_active=True)


class FormLine(NamedTuple):
    """The fields of one line, and what the line is about, where that is known before."""

    fields: dict[str, forms.BoundField]
    about: Any = None


class RowsForm(ActForm):
    """A form with lines: their fields end in the key of the line, as in `amount_3`."""

    # The service's list of lines, and the beginning of a field's name for a line's parameter.
    lines_parameter = "lines"
    fields_in_lines: ClassVar[Mapping[str, str]] = {}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # The key of each line that goes to the service, in order.
        self.sent: list[str] = []

    def field_of(self, parameter: str | None) -> str | None:
        inside, _dot, rest = (parameter or "").partition(".")
        position, _dot, name = rest.partition(".")
        if inside == self.lines_parameter and position.isdecimal():
            beginning = self.fields_in_lines.get(name, name)
            return super().field_of(f"{beginning}_{self.sent[int(position)]}")
        return super().field_of(parameter)

    def row(self, key: str, *names: str, about: Any = None) -> FormLine:
        return FormLine({name: self[f"{name}_{key}"] for name in names}, about)


class PurchaseOrderForm(RowsForm):
    """What is ordered from a supplier, a line for each part or goods."""

    LINES = 6
    fields_of_parameters = {"freight_cents": "freight"}
    fields_in_lines = {"unit_price": "price", "supplier_code": "code"}

    supplier = forms.ModelChoiceField(label=_("Supplier"), queryset=suppliers())
    ordered_on = DayField(label=_("Ordered"), initial=timezone.localdate)
    expected_on = DayField(label=_("Expected"), required=False)
    freight = MoneyField(
        label=_("Freight"),
        required=False,
        error_messages=NOT_NEGATIVE,
        help_text=_("It is shared out over the lines, so that the cost of each is right."),
    )
    note = forms.CharField(label=_("Note for the supplier"), max_length=300, required=False)

    def __init__(self, *args: Any, order: PurchaseOrder | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.things = {_key(thing): thing for thing in purchase_orders.things()}
        if order is not None:
            del self.fields["supplier"]
            del self.fields["ordered_on"]
        lines = order.lines.count() if order else 0
        self.keys = [str(index) for index in range(max(self.LINES, lines))]
        for key in self.keys:
            self.fields[f"thing_{key}"] = forms.ChoiceField(
                label=_("What"), required=False, choices=[("", "–"), *self._choices()]
            )
            self.fields[f"quantity_{key}"] = AmountField(label=_("How much"), required=False)
            self.fields[f"price_{key}"] = NumberField(
                label=_("Price of a piece or pound"),
                required=False,
                max_digits=12,
                decimal_places=4,
                widget=MoneyInput,
            )
            self.fields[f"code_{key}"] = forms.CharField(
                label=_("Their number for it"), required=False, max_length=60
            )

    def _choices(self) -> list[Any]:
        parts = [key for key, thing in self.things.items() if isinstance(thing, PackagingPart)]
        return [
            (str(_("Parts")), [(key, self.things[key].name) for key in parts]),
            (
                str(_("Other goods")),
                [(key, thing.name) for key, thing in self.things.items() if key not in parts],
            ),
        ]

    def rows(self) -> list[FormLine]:
        return [self.row(key, "thing", "quantity", "price", "code") for key in self.keys]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        self.sent, self.lines = [], []
        for key in self.keys:
            thing = self.things.get(data.get(f"thing_{key}") or "")
            if thing is None:
                if data.get(f"quantity_{key}") and f"thing_{key}" not in self.errors:
                    self.add_error(f"thing_{key}", now("Choose what is ordered."))
                continue
            quantity = amount_of(self, f"quantity_{key}", thing.item)
            if quantity is None and f"quantity_{key}" not in self.errors:
                self.add_error(f"quantity_{key}", now("Enter how many."))
            price = data.get(f"price_{key}")
            if price is None and f"price_{key}" not in self.errors:
                self.add_error(f"price_{key}", now("Enter the price, or 0 if it is free."))
            code = data.get(f"code_{key}")
            if quantity is not None and price is not None and code is not None:
                self.sent.append(key)
                self.lines.append(LineOrdered(thing, quantity, price, code))
        return data


def _key(thing: PackagingPart | Product) -> str:
    return f"{'part' if isinstance(thing, PackagingPart) else 'goods'}-{thing.pk}"


def first_lines(order: PurchaseOrder) -> dict[str, Any]:
    """Return the lines of an order as the form shows them first."""
    shown: dict[str, Any] = {}
    lines = order.lines.select_related("part__item", "product__item")
    for key, line in enumerate(lines):
        shown[f"thing_{key}"] = _key(line.thing)
        shown[f"quantity_{key}"] = as_amount(line.quantity, line.item)
        shown[f"price_{key}"] = Decimal(f"{line.unit_price.normalize():f}")
        shown[f"code_{key}"] = line.supplier_code
    return shown


class CloseOrderForm(ActForm):
    reason = forms.CharField(
        label=_("Why is the rest no longer expected?"),
        max_length=300,
        required=False,
        help_text=_("Leave empty if everything came in."),
    )


class ReceiveForOrderForm(ActForm):
    """What came in for one line of an order."""

    fields_of_parameters = {"cost_cents": "cost", "pieces": "quantity"}

    quantity = AmountField(label=_("How much came"))
    # Not filled in: it would stay that of the whole order where only a part came.
    cost = MoneyField(
        label=_("Total cost"),
        required=False,
        help_text=_(
            "Leave empty if it costs what was ordered, with its share of the freight. Enter 0 if "
            "it was free."
        ),
    )
    place = forms.ModelChoiceField(
        label=_("Put on"),
        queryset=Place.objects.filter(kind__in=Place.STORES, is_active=True),
        empty_label=None,
    )
    received_on = DayField(label=_("Day"), initial=timezone.localdate)
    maker_lot = forms.CharField(
        label=_("Lot code of the maker"),
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=_(
            "As printed on the goods; it finds them in a recall. Leave empty where there is none: "
            "the goods get the next code of your own."
        ),
    )
    best_by = DayField(label=_("Best by"), required=False)
    more_is_right = forms.BooleanField(label=_("Yes, more came than was ordered"), required=False)

    def __init__(self, *args: Any, line: PurchaseOrderLine, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.line = line
        if line.part_id:
            del self.fields["maker_lot"]
            del self.fields["best_by"]
        if not self.data.get("more_is_right"):
            # It is shown where it is asked.
            self.fields["more_is_right"].widget = forms.HiddenInput()

    def refuse(self, error: HouseError) -> None:
        if any(problem.parameter == "more_is_right" for problem in error.problems):
            self.fields["more_is_right"].widget = forms.CheckboxInput()
        super().refuse(error)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["quantity"] = amount_of(self, "quantity", self.line.item)
        return data


class BillForm(RowsForm):
    """A bill of a supplier: deliveries that came in, and expenses."""

    LINES = 4
    fields_of_parameters = {"tax_cents": "tax", "total_cents": "total"}
    fields_in_lines = {
        "amount_cents": "amount",
        "delivery": "amount",
        "description": "about",
    }

    number = forms.CharField(
        label=_("Number of the bill"),
        max_length=60,
        error_messages={"required": _("Enter the number that the supplier printed on the bill.")},
    )
    billed_on = DayField(label=_("Date of the bill"), initial=timezone.localdate)
    due_on = DayField(
        label=_("Due"), required=False, help_text=_("Left empty, it follows the supplier's terms.")
    )
    tax = MoneyField(
        label=_("Tax that you get back"),
        required=False,
        error_messages=NOT_NEGATIVE,
        help_text=_("Only where you may deduct it. Leave empty otherwise."),
    )
    total = MoneyField(
        label=_("Total of the bill"),
        required=False,
        help_text=_("As printed. It is compared with the amounts."),
    )
    discount_percent = NumberField(
        label=_("Discount for early payment, percent"),
        required=False,
        max_digits=4,
        decimal_places=2,
    )
    discount_until = DayField(label=_("Discount until"), required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, deliveries: Sequence[ToBill], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.deliveries = {row.key: row for row in deliveries}
        self.keys = [str(index) for index in range(self.LINES)]
        for key, row in self.deliveries.items():
            self.fields[f"amount_{key}"] = MoneyField(
                label=_("Billed for %(what)s") % {"what": row.name},
                required=False,
                error_messages=NOT_NEGATIVE,
            )
            self.fields[f"takes_over_{key}"] = forms.BooleanField(
                label=_("It costs what the bill says"), required=False
            )
        for key in self.keys:
            self.fields[f"category_{key}"] = forms.ChoiceField(
                label=_("What for"), required=False, choices=[("", "–"), *ExpenseCategory.choices]
            )
            self.fields[f"about_{key}"] = forms.CharField(
                label=_("Text"), required=False, max_length=200
            )
            self.fields[f"amount_{key}"] = MoneyField(label=_("Amount"), required=False)
            self.fields[f"season_{key}"] = WholeNumberField(
                label=_("Season of honey"), required=False
            )

    def own_rows(self) -> list[FormLine]:
        """Return the lines of deliveries that came from this supplier."""
        return self._delivery_rows(is_own=True)

    def nobodys_rows(self) -> list[FormLine]:
        """Return the lines of deliveries for which nobody entered a supplier."""
        return self._delivery_rows(is_own=False)

    def _delivery_rows(self, *, is_own: bool) -> list[FormLine]:
        return [
            self.row(key, "amount", "takes_over", about=row)
            for key, row in self.deliveries.items()
            if (row.supplier is not None) == is_own
        ]

    def expense_rows(self) -> list[FormLine]:
        return [self.row(key, "category", "about", "amount", "season") for key in self.keys]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        self.sent, self.lines = [], []
        for key, row in self.deliveries.items():
            amount_cents = data.get(f"amount_{key}")
            if amount_cents is not None:
                self.sent.append(key)
                self.lines.append(
                    LineBilled(
                        amount_cents, row.delivery, takes_over_cost=data[f"takes_over_{key}"]
                    )
                )
        for key in self.keys:
            category, amount_cents = data.get(f"category_{key}"), data.get(f"amount_{key}")
            if amount_cents is None and not category:
                continue
            if amount_cents is None:
                if f"amount_{key}" not in self.errors:
                    self.add_error(f"amount_{key}", now("Enter an amount above zero."))
                continue
            self.sent.append(key)
            self.lines.append(
                LineBilled(
                    amount_cents,
                    category=category or "",
                    description=data.get(f"about_{key}") or "",
                    season=data.get(f"season_{key}"),
                )
            )
        return data


class SupplierChoiceForm(HouseForm):
    supplier = forms.ModelChoiceField(label=_("Who sent the bill?"), queryset=suppliers())


def paid_by_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label=_("Paid by"), choices=PaidBy, initial=PaidBy.TRANSFER, widget=forms.RadioSelect
    )


class PaySupplierForm(RowsForm):
    """Money for the open bills of a supplier: so much for each, with or without its discount."""

    lines_parameter = "shares"
    fields_in_lines = {
        "amount_cents": "amount",
        "discount_cents": "discount",
        "bill": "amount",
    }

    paid_by = paid_by_field()
    reference = forms.CharField(label=_("Check number or reference"), max_length=60, required=False)
    paid_on = DayField(label=_("Paid"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, bills: Sequence[SupplierBill], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.bills = {str(bill.pk): bill for bill in bills}
        for key, bill in self.bills.items():
            self.fields[f"amount_{key}"] = MoneyField(
                label=_("For bill %(bill)s") % {"bill": bill}, required=False
            )
            if bill.discount_until is not None:
                self.fields[f"discount_{key}"] = MoneyField(
                    label=_("Discount taken on %(bill)s") % {"bill": bill},
                    required=False,
                    error_messages=NOT_NEGATIVE,
                )

    def rows(self) -> list[FormLine]:
        return [
            self.row(
                key,
                *("amount", "discount") if bill.discount_until is not None else ("amount",),
                about=bill,
            )
            for key, bill in self.bills.items()
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        self.sent, self.shares = [], []
        for key, bill in self.bills.items():
            amount_cents = data.get(f"amount_{key}")
            if amount_cents:
                self.sent.append(key)
                discount_cents = data.get(f"discount_{key}") or 0
                self.shares.append(BillPaid(bill, amount_cents, discount_cents))
            elif data.get(f"discount_{key}") and f"amount_{key}" not in self.errors:
                self.add_error(f"amount_{key}", now("Enter an amount above zero."))
        if not self.shares and not self.errors:
            self.add_error(None, now("Enter an amount for at least one bill."))
        return data


class UndoEntryForm(ActForm):
    reason = forms.CharField(
        label=_("Why?"), max_length=300, help_text=_("For example: entered twice.")
    )


class OrderFilterForm(HouseForm):
    """Which purchase orders a list shows; anything unreadable shows all."""

    text = forms.CharField(label=_("Number or supplier"), max_length=60, required=False)
    state = forms.ChoiceField(
        label=_("State"), choices=[("", _("all")), *PurchaseOrder.Status.choices], required=False
    )


class BillFilterForm(HouseForm):
    """Which bills a list shows; anything unreadable shows all."""

    STATES = (
        ("", _("all")),
        ("open", _("to be paid")),
        ("overdue", _("overdue")),
        ("soon", _("due within a week")),
        ("paid", _("paid")),
        ("undone", _("undone")),
    )

    text = forms.CharField(label=_("Number or supplier"), max_length=60, required=False)
    state = forms.ChoiceField(label=_("State"), choices=STATES, required=False)
    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)


def asked(form: forms.Form) -> dict[str, Any]:
    """Return what a filter form was asked, without what can't be read."""
    form.is_valid()
    found = {name: form.cleaned_data.get(name) for name in form.fields}
    return {name: value for name, value in found.items() if value}

"""Forms of market days: planned, listed, loaded, unloaded, paid for and closed."""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.purchasing import NOT_NEGATIVE
from apiary_sales.billing.market_sums import Suggestion, cases_in_words
from apiary_sales.billing.models import ExpenseCategory, PaidBy
from apiary_sales.billing.services.market_unloading import CameHome
from apiary_sales.orders.forms.trade import PiecesForm
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    TimeOfDayField,
    WholeNumberField,
)
from inventory.stock import own_places
from inventory.stock.forms.stores import StoreField

# What a market day is usually paid for.
CATEGORIES = (
    ExpenseCategory.SELLING,
    ExpenseCategory.FUEL,
    ExpenseCategory.FEES,
    ExpenseCategory.SUPPLIES,
    ExpenseCategory.WAGES,
    ExpenseCategory.OTHER,
)
MISSING = ("sold", "broken", "samples")


class StandOrVanField(StoreField):
    """A stand or van in use."""

    kinds = own_places.KINDS


class MarketPlanForm(ActForm):
    """Where, when and with whom the house sells at a market."""

    market = forms.CharField(
        label=_("Market"),
        max_length=80,
        error_messages={"required": _("Enter the name of the market.")},
        help_text=_("Write it as before, so that its days are compared."),
    )
    place = StandOrVanField(label=_("Sold from"))
    day = DayField(label=_("Day"))
    opens_at = TimeOfDayField(label=_("Open from"))
    closes_at = TimeOfDayField(label=_("Open until"))
    source = StoreField(label=_("Loaded from"))
    people = forms.CharField(label=_("Who is there"), max_length=200, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class LoadForm(PiecesForm):
    """How many pieces of each product are to be loaded, or are."""

    def __init__(
        self,
        *args: Any,
        products: Sequence[Product],
        free: Mapping[int, int],
        suggested: Mapping[Product, Suggestion],
        pieces: Mapping[int, int],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        notes = {
            product.pk: " ".join(
                filter(
                    None,
                    [
                        gettext("%(free)s free.")
                        % {"free": words.pieces(free.get(product.item_id, 0))},
                        suggestion_in_words(product, suggested.get(product)),
                    ],
                )
            )
            for product in products
        }
        self.add_products(products, notes=notes, pieces=dict(pieces))


def suggestion_in_words(product: Product, suggestion: Suggestion | None) -> str:
    """Say what is suggested and why: "Suggested: 24 (2 cases). Sold 14, 18 and 11 …"."""
    if suggestion is None:
        return ""
    cases = cases_in_words(suggestion.pieces, product.pieces_per_case)
    pieces = words.number(suggestion.pieces)
    text = gettext("Suggested: %(pieces)s.") % {
        "pieces": f"{pieces} ({cases})" if cases else pieces
    }
    return f"{text} {suggestion.why}"


class HomeRow(NamedTuple):
    """One product that was at the market, with its fields."""

    product: Product
    in_books: int
    home: forms.BoundField
    missing: list[forms.BoundField]
    is_open: bool


class UnloadForm(ActForm):
    """What came home of each product, and what became of what is missing."""

    target = StoreField(
        label=_("Brought to"),
        required=False,
        help_text=_("Leave empty for what stays in the van or at the stand."),
    )
    differences_are_right = forms.BooleanField(
        label=_("What else differs is a difference of count"),
        required=False,
        help_text=_("Only after counting again. It is entered in the books as such."),
    )
    surplus_reason = forms.CharField(
        label=_("Why are there more than were made?"), max_length=300, required=False
    )

    def __init__(
        self, *args: Any, there: Mapping[Product, int], may_exceed: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.there = dict(there)
        for product, in_books in self.there.items():
            self._add(f"pieces_{product.pk}", product.name, required=True)
            self.fields[f"pieces_{product.pk}"].help_text = gettext("%(pieces)s by the books") % {
                "pieces": words.pieces(in_books)
            }
            for name, label in zip(
                MISSING,
                (_("Sold, not entered"), _("Broken"), _("Given as samples")),
                strict=True,
            ):
                self._add(f"{name}_{product.pk}", label, required=False)
        if not may_exceed:
            del self.fields["surplus_reason"]

    def _add(self, name: str, label: Any, *, required: bool) -> None:
        messages = {"required": _("Enter how many came home. Enter 0 if none did.")}
        self.fields[name] = WholeNumberField(
            label=label,
            required=required,
            min_value=0,
            error_messages={**NOT_NEGATIVE, **messages},
        )
        self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]

    @property
    def rows(self) -> list[HomeRow]:
        made = []
        for product, in_books in self.there.items():
            missing = [self[f"{name}_{product.pk}"] for name in MISSING]
            home = self[f"pieces_{product.pk}"]
            is_open = bool(home.errors) or any(field.errors or field.value() for field in missing)
            made.append(HomeRow(product, in_books, home, missing, is_open))
        return made

    @property
    def asks_why(self) -> bool:
        """Whether the service asked why there are more than were made."""
        return "surplus_reason" in self.fields and bool(
            self["surplus_reason"].errors or self["surplus_reason"].value()
        )

    def lines(self) -> list[CameHome]:
        return [
            CameHome(
                product,
                self.cleaned_data[f"pieces_{product.pk}"],
                **{name: self.cleaned_data[f"{name}_{product.pk}"] or 0 for name in MISSING},
            )
            for product in self.there
        ]

    def field_of(self, parameter: str | None) -> str | None:
        if found := re.fullmatch(r"lines\.(\d+)\.(\w+)", parameter or ""):
            product = list(self.there)[int(found[1])]
            return super().field_of(f"{found[2]}_{product.pk}")
        return super().field_of(parameter)


class MarketCostForm(ActForm):
    """The fee of the stall, or another cost of the day."""

    fields_of_parameters = {"amount_cents": "amount", "tax_cents": "tax"}

    category = forms.ChoiceField(label=_("What for"), choices=())
    payee = forms.CharField(
        label=_("Paid to"), max_length=120, error_messages={"required": _("Enter who was paid.")}
    )
    amount = MoneyField(
        label=_("Amount"),
        help_text=_("All that was paid, tax included."),
        error_messages={"min_value": _("Enter an amount above zero.")},
    )
    tax = MoneyField(
        label=_("Tax that you get back"),
        required=False,
        error_messages=NOT_NEGATIVE,
        help_text=_("Only where you may deduct it. Leave empty otherwise."),
    )
    paid_by = forms.ChoiceField(label=_("Paid by"), choices=PaidBy)
    spent_on = DayField(label=_("Day"))
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, only_cash: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        category, paid_by = self.fields["category"], self.fields["paid_by"]
        category.choices = [(each.value, each.label) for each in CATEGORIES]  # type: ignore[attr-defined]
        if only_cash:
            cash = [(PaidBy.CASH.value, PaidBy.CASH.label)]
            paid_by.choices = cash  # type: ignore[attr-defined]


class MarketCloseForm(ActForm):
    """How long all people together worked."""

    fields_of_parameters = {"labour_minutes": "hours"}

    hours = NumberField(
        label=_("Hours of work"),
        required=False,
        min_value=Decimal("0.01"),
        max_digits=6,
        decimal_places=2,
        help_text=_(
            "Of all people together, with loading, the way there and back and unloading. Two "
            "people for six hours are 12."
        ),
    )
    note = forms.CharField(
        label=_("Note"), max_length=300, required=False, help_text=_("Weather, what people asked.")
    )

    def labour_minutes(self) -> int | None:
        hours = self.cleaned_data["hours"]
        return None if hours is None else max(1, round(hours * 60))


class WhyForm(ActForm):
    """Why something is undone."""

    reason = forms.CharField(label=_("Why?"), max_length=300)


class KeyForm(ActForm):
    """An act about which there is nothing to type."""

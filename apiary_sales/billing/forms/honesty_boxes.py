"""Forms of honesty boxes: set up, and shelf and box counted together."""

import re
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.market_days import StandOrVanField
from apiary_sales.billing.forms.purchasing import NOT_NEGATIVE
from apiary_sales.billing.queries.honesty_boxes import ShelfRow
from apiary_sales.billing.services.honesty_boxes import ShelfCounted
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import ActDayField, MoneyField, WholeNumberField


class HonestyBoxForm(ActForm):
    """A box at a stand or van where nobody stands."""

    place = StandOrVanField(label=_("Place"))
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class HonestyCountForm(ActForm):
    """What is on the shelf, and the cash that was in the box."""

    fields_of_parameters = {"cash_cents": "cash"}

    cash = MoneyField(
        label=_("Cash in the box"),
        error_messages={
            **NOT_NEGATIVE,
            "required": _("Enter the cash that was in the box. Enter 0 if it was empty."),
        },
        help_text=_("Take all of it out, so that the next count begins with an empty box."),
    )
    counted_on = ActDayField()
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    surplus_reason = forms.CharField(
        label=_("Why are there more than were made?"), max_length=300, required=False
    )

    def __init__(
        self, *args: Any, shelf: Sequence[ShelfRow], may_exceed: bool, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.shelf = list(shelf)
        for row in self.shelf:
            self.fields[self._name(row)] = WholeNumberField(
                label=row.product.name,
                min_value=0,
                help_text=_note(row),
                error_messages={
                    **NOT_NEGATIVE,
                    "required": _("Count it too. Enter 0 if none is left."),
                },
            )
        self.order_fields([self._name(row) for row in self.shelf])
        if not may_exceed:
            del self.fields["surplus_reason"]

    @property
    def product_fields(self) -> list[forms.BoundField]:
        return [self[self._name(row)] for row in self.shelf]

    @property
    def asks_why(self) -> bool:
        """Whether the service asked why there are more than were made."""
        return "surplus_reason" in self.fields and bool(
            self["surplus_reason"].errors or self["surplus_reason"].value()
        )

    def lines(self) -> list[ShelfCounted]:
        return [ShelfCounted(row.product, self.cleaned_data[self._name(row)]) for row in self.shelf]

    def field_of(self, parameter: str | None) -> str | None:
        if found := re.fullmatch(r"lines\.(\d+)\.\w+", parameter or ""):
            return self._name(self.shelf[int(found[1])])
        return super().field_of(parameter)

    @staticmethod
    def _name(row: ShelfRow) -> str:
        return f"pieces_{row.product.pk}"


def _note(row: ShelfRow) -> str:
    """Say what the books have, and the price: with the one before, where it changed."""
    there = gettext("%(pieces)s by the books.") % {"pieces": words.pieces(row.in_books)}
    if row.unit_price is None:
        return f"{there} {gettext('No stand price is set.')}"
    figures = {"price": words.unit_price(row.unit_price)}
    if row.price_before is None:
        return f"{there} {gettext('%(price)s each.') % figures}"
    figures["before"] = words.unit_price(row.price_before)
    changed = gettext("The price is %(price)s now and was %(before)s at the last count.") % figures
    return f"{there} {changed} {gettext('The new one is taken.')}"

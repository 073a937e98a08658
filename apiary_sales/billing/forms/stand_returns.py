"""Returns at the stand: what comes back, how the money is given, and what the office decides."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.forms.credits import WorkedOutForm
from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries.stand_returns import ReceiptItMayBe
from apiary_sales.billing.rules import Left
from apiary_sales.billing.stand_return_rules import PiecesBack
from apiary_sales.orders.models import OrderLine
from inventory.bottling.models import Product
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import MoneyField, WholeNumberField
from inventory.stock.models import Place


class WaysFields(ActForm):
    """By which way money is given back: asked only where the buyer paid in several."""

    def add_ways(self, ways: Mapping[str, int]) -> None:
        """Ask for the way, and whether a check has cleared, where it matters."""
        if len(ways) > 1:
            labels = dict(Payment.WAYS)
            choices: list[tuple[str, str | Promise]] = [
                (
                    way,
                    _("%(way)s (up to %(amount)s)")
                    % {"way": labels[way], "amount": words.money(cents)},
                )
                for way, cents in ways.items()
            ]
            self.fields["method"] = forms.ChoiceField(
                label=_("Give the money back by"),
                choices=choices,
                initial=choices[0][0],
                widget=forms.RadioSelect,
                help_text=_("What is more than was paid this way goes back by the other ones."),
            )
        if Payment.Method.CHECK in ways:
            self.fields["check_has_cleared"] = forms.BooleanField(
                label=_("The buyer's check has cleared"),
                required=False,
                help_text=_(
                    "The bank says so, some days after it was deposited. Before that, a check can "
                    "still bounce, so its money is not given back."
                ),
            )

    @property
    def way(self) -> dict[str, Any]:
        """How the money is given back, as the service takes it."""
        return {
            "method": self.cleaned_data.get("method", ""),
            "check_has_cleared": self.cleaned_data.get("check_has_cleared", False),
        }


@dataclass(frozen=True)
class ReturnRow:
    """A line of a receipt of which something is left, with its fields."""

    left: Left
    fields: list[BoundField]

    @property
    def left_shown(self) -> str:
        line = self.left.line
        return f"{line.as_printed(self.left.quantity)} {line.get_unit_display()}"


class ReturnForm(WaysFields, WorkedOutForm):
    """How many pieces of each line come back, and whether they had left the counter."""

    def __init__(
        self, *args: Any, left: Sequence[Left], ways: Mapping[str, int], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        # A price may be credited of what came back, or the other way round.
        self.left = left = [row for row in left if row.quantity]
        for row in left:
            pk = row.line.pk
            if _is_weighed(row):
                self.fields[f"back_{pk}"] = forms.BooleanField(
                    label=_("It comes back"), required=False
                )
            else:
                self.fields[f"back_{pk}"] = WholeNumberField(
                    label=_("How many come back"),
                    required=False,
                    min_value=0,
                    error_messages=NOT_NEGATIVE,
                )
            self.fields[f"shelf_{pk}"] = forms.BooleanField(
                label=_("Never left the counter: it can be sold again"), required=False
            )
        self.add_ways(ways)
        self.fields["reason"] = forms.CharField(
            label=_("Why?"), max_length=300, help_text=_("It is printed on the credit note.")
        )

    @property
    def lines(self) -> list[PiecesBack]:
        """What comes back, line by line."""
        found = []
        for row in self.left:
            back = self.cleaned_data.get(f"back_{row.line.pk}")
            if back:
                pieces = None if _is_weighed(row) else back
                is_on_shelf = self.cleaned_data.get(f"shelf_{row.line.pk}", False)
                found.append(PiecesBack(row.line, pieces, is_on_shelf))
        return found

    def rows(self) -> list[ReturnRow]:
        return [
            ReturnRow(row, [self[f"back_{row.line.pk}"], self[f"shelf_{row.line.pk}"]])
            for row in self.left
        ]

    def field_of(self, parameter: str | None) -> str | None:
        if found := re.fullmatch(r"lines\.(\d+)\.\w+", parameter or ""):
            return super().field_of(f"back_{self.lines[int(found[1])].line.pk}")
        return super().field_of(parameter)


class NoReceiptForm(ActForm):
    """What came back without a receipt."""

    pieces = WholeNumberField(label=_("How many"), min_value=1, initial=1)
    lot_code = forms.CharField(
        label=_("Lot on the jar"),
        max_length=30,
        required=False,
        help_text=_("The code that is printed on it. It finds the receipt."),
    )
    price_cents = MoneyField(
        label=_("Paid for one"),
        error_messages=NOT_NEGATIVE,
        help_text=_("What the buyer says. The price on the receipt that is found is given back."),
    )
    reason = forms.CharField(label=_("Why?"), max_length=300)

    def __init__(
        self,
        *args: Any,
        places: QuerySet[Place],
        products: QuerySet[Product],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"] = forms.ModelChoiceField(
            label=_("Place"), queryset=places, initial=places.first()
        )
        self.fields["product"] = forms.ModelChoiceField(
            label=_("What came back"), queryset=products, empty_label=_("choose")
        )
        self.order_fields(["key", "place", "product"])


class DecideForm(ActForm):
    """Approve a return, with the receipt that it most likely was, or refuse it."""

    note = forms.CharField(
        label=_("Note"),
        max_length=300,
        required=False,
        help_text=_("The stand reads it. To refuse, say why."),
    )

    def __init__(
        self, *args: Any, receipts: Sequence[ReceiptItMayBe] | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._receipts = {str(each.receipt.pk): each for each in receipts or ()}
        if receipts:
            self.fields["receipt"] = forms.ChoiceField(
                label=_("Which receipt it most likely was"),
                choices=[(pk, _told(each)) for pk, each in self._receipts.items()],
                initial=next(iter(self._receipts)),
                widget=forms.RadioSelect,
                required="refuse" not in self.data,
            )
            self.order_fields(["receipt", "note"])

    def clean_receipt(self) -> Any:
        chosen = self._receipts.get(self.cleaned_data.get("receipt") or "")
        return chosen.receipt if chosen else None


class GiveBackForm(WaysFields):
    """One tap, where the buyer paid in one way."""

    def __init__(self, *args: Any, ways: Mapping[str, int], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.add_ways(ways)


def _told(found: ReceiptItMayBe) -> str:
    text = _("%(amount)s: receipt %(receipt)s of %(day)s, lot %(lots)s") % {
        "amount": words.money(found.cents),
        "receipt": found.receipt,
        "day": date_format(timezone.localtime(found.sale.sold_at), "DATETIME_FORMAT"),
        "lots": ", ".join(dict.fromkeys(found.lot_codes)),
    }
    return f"{text} ({_('the lot on the jar')})" if found.is_same_lot else str(text)


def _is_weighed(row: Left) -> bool:
    goods = row.line.fulfilment_line
    return goods is not None and goods.order_line.kind in OrderLine.BY_WEIGHT

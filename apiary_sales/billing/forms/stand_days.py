"""A day at a stand: its float, cash in and out, the count at its end, and its takings."""

from datetime import date, timedelta
from typing import Any, cast

from django import forms
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User
from apiary_sales.billing import denominations
from apiary_sales.billing.denominations import Denomination
from apiary_sales.billing.forms.money import NOT_NEGATIVE
from apiary_sales.billing.models import ExpenseCategory, StandCash
from inventory.shared import conventions, words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import CodeChoiceField, DayField, MoneyField, WholeNumberField
from inventory.stock.models import Place

LONGEST = timedelta(days=366)


class CoinsForm(ActForm):
    """Cash by coins and notes or, where none is entered, as a sum."""

    fields_of_parameters = {
        "float_cents": "amount",
        "float_pieces": "amount",
        "counted_cents": "amount",
        "counted_pieces": "amount",
    }

    amount = MoneyField(label=_("Or as a sum"), required=False, error_messages=NOT_NEGATIVE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._denominations = denominations.of_currency(conventions.current().currency)
        for each in self._denominations:
            self.fields[each.name] = WholeNumberField(
                label=each.label,
                required=False,
                min_value=0,
                max_value=denominations.PIECES_MAX,
                error_messages=NOT_NEGATIVE,
            )

    @property
    def coins(self) -> list[tuple[Denomination, forms.BoundField]]:
        return [(each, self[each.name]) for each in self._denominations]

    @property
    def sample(self) -> str:
        """Money as the house writes it, from which the page's script takes its signs."""
        return words.money(100_000)

    @property
    def has_coins(self) -> bool:
        """Whether a coin or note was entered, or is wrong."""
        return any(field.value() or field.errors for _each, field in self.coins)

    def pieces(self) -> dict[str, int]:
        """Return the coins and notes that were entered."""
        counts = {each.name: self.cleaned_data.get(each.name) for each in self._denominations}
        return {name: count for name, count in counts.items() if count}

    def sum_entered(self) -> int | None:
        """Return the sum that was entered, None where coins and notes were."""
        return None if self.pieces() else self.cleaned_data.get("amount")


class OpenDayForm(CoinsForm):
    """The float that a drawer begins the day with."""

    field_order = ["key", "place", "amount", "day", "note"]

    place = CodeChoiceField(label=_("Place"), queryset=Place.objects.none())
    day = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, places: QuerySet[Place], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["amount"].label = _("Float")
        place = cast(CodeChoiceField, self.fields["place"])
        place.queryset = places
        if len(places) == 1:
            place.initial = places[0].code


class StandCashForm(ActForm):
    """Cash put into the drawer, or taken out of it."""

    fields_of_parameters = {"cents": "amount"}

    kind = forms.ChoiceField(
        label=_("What"),
        choices=lambda: [(kind.value, capfirst(kind.label)) for kind in StandCash.Kind],
        widget=forms.RadioSelect,
    )
    amount = MoneyField(label=_("Amount"), error_messages=NOT_NEGATIVE)
    text = forms.CharField(label=_("What for"), max_length=200, required=False)
    payee = forms.CharField(
        label=_("Paid to"), max_length=120, required=False, help_text=_("Only for an expense.")
    )
    category = forms.ChoiceField(
        label=_("Category"),
        required=False,
        choices=[("", "–"), *ExpenseCategory.choices],
        help_text=_("Only for an expense."),
    )


class CloseDayForm(CoinsForm):
    """The cash that is in the drawer; `shown` is what the page told of it before."""

    shown = forms.CharField(widget=forms.HiddenInput, required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)


class TakingsForm(HouseForm):
    """Whose takings of which days: today's, unless told otherwise."""

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)
    place = CodeChoiceField(
        label=_("Place"), queryset=Place.objects.none(), required=False, empty_label=_("all")
    )
    person = forms.ModelChoiceField(
        label=_("Person"), queryset=User.objects.none(), required=False, empty_label=_("all")
    )

    def __init__(self, *args: Any, places: QuerySet[Place], people: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = cast(CodeChoiceField, self.fields["place"])
        place.queryset = places
        if people is None:
            # Who sells at the stand sees her own.
            del self.fields["person"]
        else:
            person = cast("forms.ModelChoiceField[User]", self.fields["person"])
            person.queryset = people
            person.label_from_instance = lambda user: user.display_name  # type: ignore[assignment]

    def days(self) -> tuple[date, date]:
        """Return the first and the last day, a year at most."""
        cleaned = self.cleaned_data if self.is_valid() else {}
        until = cleaned.get("until") or cleaned.get("since") or timezone.localdate()
        since = cleaned.get("since") or until
        return max(min(since, until), until - LONGEST), until

    def chosen(self, name: str) -> Any:
        """Return the place or person that was chosen, None for all."""
        return (self.cleaned_data if self.is_valid() else {}).get(name)

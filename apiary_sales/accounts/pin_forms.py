"""Forms that set the short PIN of a person who sells at the stand."""

from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts import rules
from apiary_sales.accounts.forms import confirm
from apiary_sales.accounts.models import User
from inventory.shared.forms.acts import HouseForm


class _PinField(forms.CharField):
    """A PIN, typed unseen on a keyboard of digits."""

    widget = forms.PasswordInput(
        attrs={
            "inputmode": "numeric",
            "autocomplete": "off",
            "maxlength": str(rules.PIN_DIGITS_MAX),
        }
    )


class PinForm(HouseForm):
    """A new PIN, typed twice, since nobody can look it up afterwards."""

    pin = _PinField(
        label=_("New PIN"),
        help_text=_("4 to 6 digits, not all the same and not in a row as in 1234."),
    )
    pin_again = _PinField(label=_("New PIN again"))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        pin, again = data.get("pin"), data.pop("pin_again", None)
        if pin and again and pin != again:
            self.add_error("pin_again", gettext("The two PINs differ. Type both again."))
        return data


class OwnPinForm(PinForm):
    """One's own PIN: the password shows that nobody else sets it at a shared phone."""

    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    field_order = ["password", "pin", "pin_again"]

    def __init__(self, *args: Any, request: HttpRequest, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request, self.person = request, person

    def clean_password(self) -> str:
        return confirm(self.request, self.person, self.cleaned_data["password"])

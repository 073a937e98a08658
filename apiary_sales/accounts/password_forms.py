"""Forms for a password that was lost, and for the address to which a link is sent."""

from typing import Any

from django import forms
from django.contrib.auth.forms import SetPasswordForm
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.forms import NEW_PASSWORD, confirm
from apiary_sales.accounts.models import User
from inventory.shared.forms.acts import HouseForm


class LostPasswordForm(HouseForm):
    name = forms.CharField(
        label=_("Name to sign in with, or e-mail address"),
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )


class NewPasswordForm(SetPasswordForm):
    error_messages = {
        **SetPasswordForm.error_messages,
        "password_mismatch": _("The two new passwords differ. Type both again."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["new_password1"].label = _("New password")
        self.fields["new_password2"].label = _("New password again")
        self.fields["new_password1"].help_text = NEW_PASSWORD


class SignInEmailForm(HouseForm):
    """The e-mail address of a person, as the owner enters it."""

    email = forms.EmailField(
        label=_("E-mail address"),
        required=False,
        help_text=_("A link for a new password is sent there, and nothing else."),
    )


class OwnSignInEmailForm(SignInEmailForm):
    """One's own address. Whoever gets the link gets in, so the password is asked for."""

    password = forms.CharField(
        label=_("Current password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, request: HttpRequest, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request, self.person = request, person

    def clean_password(self) -> str:
        return confirm(self.request, self.person, self.cleaned_data["password"])

"""The form with which the first owner of an empty house begins."""

from django import forms
from django.contrib.auth import password_validation
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.forms import NEW_PASSWORD
from apiary_sales.accounts.models import User
from inventory.shared.forms.acts import HouseForm


class FirstOwnerForm(HouseForm):
    """The code that `serve` has written, and who begins with it."""

    code = forms.CharField(
        label=_("Code"),
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
        help_text=_("It was written where the service was started, for example ABCD-EFGH."),
    )
    name = forms.CharField(
        label=_("Your name"),
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    username = forms.CharField(
        label=_("Name to sign in with"),
        max_length=150,
        validators=[User.username_validator],
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
        help_text=_("Short and without spaces."),
    )
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        widget=forms.PasswordInput(
            render_value=True, attrs={"autocomplete": "new-password", "autocapitalize": "none"}
        ),
        help_text=NEW_PASSWORD,
    )
    password_again = forms.CharField(
        label=_("Password again"),
        strip=False,
        widget=forms.PasswordInput(render_value=True, attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, object]:
        data = super().clean() or self.cleaned_data
        password = data.get("password")
        if password:
            person = User(username=data.get("username", ""), first_name=data.get("name", ""))
            try:
                password_validation.validate_password(password, person)
            except forms.ValidationError as error:
                self.add_error("password", error)
            if data.get("password_again") and data["password_again"] != password:
                self.add_error("password_again", _("The two passwords differ. Type both again."))
        return data

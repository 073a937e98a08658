from typing import cast

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.forms import PasswordChangeForm as DjangoPasswordChangeForm
from django.contrib.contenttypes.models import ContentType
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts import queries
from apiary_sales.accounts.models import User
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.days import DaysForm


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": _(
            "The name or the password is wrong. Check the capital letters and try again, "
            "or ask the owner for a new password."
        ),
        "inactive": _("This name can no longer sign in. Ask the owner."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Name")


class ChangePasswordForm(DjangoPasswordChangeForm):
    error_messages = {
        **DjangoPasswordChangeForm.error_messages,
        "password_incorrect": _("This is not your current password. Type it again."),
        "password_mismatch": _("The two new passwords differ. Type both again."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["old_password"].label = _("Current password")
        self.fields["new_password1"].label = _("New password")
        self.fields["new_password2"].label = _("New password again")


class _NewPassword(HouseForm):
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        # Shown as typed: the owner tells it to the person, who changes it after signing in.
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
        help_text=_(
            "Use at least eight characters, not only digits. Then tell the person this password."
        ),
    )

    def person_for_check(self) -> User:
        return User()

    def clean(self):
        cleaned = super().clean()
        if password := cleaned.get("password"):
            try:
                password_validation.validate_password(password, self.person_for_check())
            except forms.ValidationError as error:
                self.add_error("password", error)
        return cleaned


class AddPersonForm(_NewPassword):
    username = forms.CharField(
        label=_("Name to sign in with"),
        max_length=150,
        validators=[User.username_validator],
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
        help_text=_("Short and without spaces."),
    )
    name = forms.CharField(label=_("Full name"), max_length=150)
    role = forms.ChoiceField(
        label=_("What they do"), choices=User.Role.choices, widget=forms.RadioSelect
    )
    field_order = ["name", "username", "role", "password"]

    def person_for_check(self) -> User:
        return User(
            username=self.cleaned_data.get("username", ""),
            first_name=self.cleaned_data.get("name", ""),
        )


class ResetPasswordForm(_NewPassword):
    def __init__(self, *args, person: User, **kwargs):
        super().__init__(*args, **kwargs)
        self.person = person

    def person_for_check(self) -> User:
        return self.person


class ChangeRoleForm(HouseForm):
    role = forms.ChoiceField(
        label=_("What they do"), choices=User.Role.choices, widget=forms.RadioSelect
    )


class KindField(forms.ModelChoiceField):
    def label_from_instance(self, obj: ContentType) -> str:
        return queries.kind_name(obj)


class PersonField(forms.ModelChoiceField):
    def label_from_instance(self, obj: User) -> str:
        return obj.display_name


class ChangeFilterForm(DaysForm):
    """What the list of changes is narrowed to."""

    field_order = ["kind", "person", "first", "last"]

    kind = KindField(
        label=_("What changed"),
        required=False,
        queryset=ContentType.objects.none(),
        to_field_name="model",
        empty_label=_("all"),
    )
    person = PersonField(
        label=_("Who"),
        required=False,
        queryset=User.objects.order_by("first_name", "username"),
        to_field_name="username",
        empty_label=_("all"),
    )

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        # Asked of the database when a form is made, not when this file is read.
        cast(forms.ModelChoiceField, self.fields["kind"]).queryset = queries.kinds_tracked()

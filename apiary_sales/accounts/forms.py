from typing import Any, cast

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.forms import PasswordChangeForm as DjangoPasswordChangeForm
from django.contrib.contenttypes.models import ContentType
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts import queries
from apiary_sales.accounts.models import SignIn, User
from apiary_sales.accounts.services import sign_ins
from inventory.shared.errors import BadValue, TooManyTries
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.days import DaysForm

NEW_PASSWORD = _("At least ten characters: two or three words are easy to type and to remember.")


class SignInForm(AuthenticationForm):
    """A name and a password; `wait_seconds` is for how long no other one is taken, 0 for now."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = _("Name")
        self.wait_seconds = 0

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if typed.get("username") and typed.get("password"):
            try:
                self.user_cache = sign_ins.check(
                    self.request, username=typed["username"], password=typed["password"]
                )
            except (BadValue, TooManyTries) as error:
                self.wait_seconds = getattr(error, "wait_seconds", 0)
                raise forms.ValidationError(error.message) from error
        return typed


def confirm(request: HttpRequest, person: User, password: str) -> str:
    """Return a person's own password, typed once more before an act; refuse a wrong one."""
    try:
        sign_ins.confirm(request, person=person, password=password)
    except (BadValue, TooManyTries) as error:
        raise forms.ValidationError(error.message) from error
    return password


class ChangePasswordForm(DjangoPasswordChangeForm):
    error_messages = {
        **DjangoPasswordChangeForm.error_messages,
        "password_mismatch": _("The two new passwords differ. Type both again."),
    }

    def __init__(self, *args, request: HttpRequest, **kwargs):
        super().__init__(*args, **kwargs)
        self.request = request
        self.fields["old_password"].label = _("Current password")
        self.fields["new_password1"].label = _("New password")
        self.fields["new_password2"].label = _("New password again")
        self.fields["new_password1"].help_text = NEW_PASSWORD

    def clean_old_password(self) -> str:
        return confirm(self.request, self.user, self.cleaned_data["old_password"])

    def clean_new_password1(self) -> str:
        chosen: str = self.cleaned_data["new_password1"]
        if self.user.must_change_password and self.user.check_password(chosen):
            raise forms.ValidationError(
                _("This is the password that the owner has set. Choose one of your own.")
            )
        return chosen


class _NewPassword(HouseForm):
    password = forms.CharField(
        label=_("Password"),
        strip=False,
        # Shown as typed: the owner tells it to the person, who chooses another at the next sign-in.
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none"}),
        help_text=_(
            "At least ten characters: two or three words are easy to type. Tell it to the person, "
            "who chooses another one at the next sign-in."
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


class SignInFilterForm(DaysForm):
    """What the list of sign-ins is narrowed to."""

    field_order = ["person", "outcome", "first", "last"]

    person = PersonField(
        label=_("Who"),
        required=False,
        queryset=User.objects.order_by("first_name", "username"),
        to_field_name="username",
        empty_label=_("all"),
    )
    outcome = forms.ChoiceField(
        label=_("What came of it"),
        required=False,
        choices=[("", _("all")), *SignIn.Outcome.choices],
    )

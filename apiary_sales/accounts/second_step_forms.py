"""Forms for the second step at sign-in: a code, the password beside it, and who must use it."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User
from apiary_sales.accounts.second_step_models import SecondStepRule
from inventory.shared.forms.acts import HouseForm


class AppCodeField(forms.CharField):
    """The six digits that an app shows."""

    widget = forms.TextInput(
        attrs={
            "inputmode": "numeric",
            "autocomplete": "one-time-code",
            "autocapitalize": "none",
            "spellcheck": "false",
        }
    )

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=40, **kwargs)


class RecoveryCodeField(forms.CharField):
    """A recovery code, written as on the paper."""

    widget = forms.TextInput(
        attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
    )

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=40, **kwargs)


class SignInCodeForm(HouseForm):
    """The second step at sign-in, with the phone at hand."""

    code = AppCodeField(label=_("Code from the app"), help_text=_("Six digits, such as 123 456."))
    remember = forms.BooleanField(
        label=_("Ask for no code on this device for 30 days"),
        required=False,
        help_text=_("Only on a device of your own."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs["autofocus"] = True


class SignInRecoveryForm(HouseForm):
    """The second step at sign-in, without the phone."""

    fields_of_parameters = {"code": "recovery_code"}

    recovery_code = RecoveryCodeField(
        label=_("Recovery code"),
        help_text=_("One of the ten codes on paper, such as ABCD-EFGH-JKMN. Each works once."),
    )


class OwnPasswordForm(HouseForm):
    """An act on how one signs in: the password shows that nobody else does it."""

    password = forms.CharField(
        label=_("Your password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean_password(self) -> None:
        if not self.person.check_password(self.cleaned_data["password"]):
            raise forms.ValidationError(
                gettext("This is not your current password. Type it again.")
            )


class SetUpSecondStepForm(OwnPasswordForm):
    code = AppCodeField(label=_("First code from the app"), help_text=_("Six digits."))
    field_order = ["code", "password"]


class MoveSecondStepForm(SetUpSecondStepForm):
    """Beside the first code of the new app, a code of before."""

    code_before = AppCodeField(
        label=_("Code from the old app, or a recovery code"),
        help_text=_("The recovery code is used up, even where the new code is wrong."),
    )
    field_order = ["code_before", "code", "password"]


class NewRecoveryCodesForm(HouseForm):
    code = AppCodeField(label=_("Code from the app, or a recovery code"))


class SwitchOffSecondStepForm(OwnPasswordForm):
    code = AppCodeField(label=_("Code from the app, or a recovery code"))
    field_order = ["password", "code"]


class SecondStepRuleForm(HouseForm):
    required_for = forms.ChoiceField(
        label=_("Who must use a second step at sign-in"),
        choices=SecondStepRule.For.choices,
        widget=forms.RadioSelect,
    )

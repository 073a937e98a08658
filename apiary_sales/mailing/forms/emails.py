"""An e-mail before it is sent, what came back, and the texts e-mails begin with."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField


def subject_field() -> forms.CharField:
    return forms.CharField(label=_("Subject"), max_length=200)


def body_field() -> forms.CharField:
    return forms.CharField(
        label=_("Text"), max_length=10_000, widget=forms.Textarea(attrs={"class": "tall"})
    )


class EmailForm(ActForm):
    """To whom, and what it says. Without `may_word` only the addresses can be changed."""

    to = forms.EmailField(label=pgettext_lazy("e-mail", "To"), max_length=254)
    subject = subject_field()
    body = body_field()

    def __init__(self, *args: Any, may_word: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("subject", "body"):
            self.fields[name].disabled = not may_word


class BounceForm(ActForm):
    bounced_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(
        label=_("What the answer says"),
        max_length=300,
        help_text=_("For example: no such mailbox."),
    )


class EmailTextForm(ActForm):
    subject = subject_field()
    body = body_field()


class EmailFilterForm(HouseForm):
    """Which e-mails a list shows; anything unreadable shows all."""

    text = forms.CharField(label=_("Name, address or number"), max_length=60, required=False)
    state = forms.ChoiceField(
        label=_("State"),
        choices=(
            ("", _("all")),
            ("waiting", _("waiting")),
            ("sent", _("sent")),
            ("trouble", _("not sent, or came back")),
        ),
        required=False,
    )

"""The form of the public page of a jar."""

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models import JarPage
from inventory.shared.forms.acts import ActForm


class JarPageForm(ActForm):
    is_on = forms.BooleanField(
        label=_("Jars have a page that everybody can read"),
        required=False,
        help_text=_("While this is off, the address on a jar leads to “There is no such page”."),
    )
    shows_floral_source = forms.BooleanField(label=_("Floral source of the lot"), required=False)
    shows_colour = forms.BooleanField(label=_("Colour"), required=False)
    shows_moisture = forms.BooleanField(label=_("Moisture"), required=False)
    dates = forms.ChoiceField(
        label=_("When it was extracted and packed"),
        choices=JarPage.Dates,
        widget=forms.RadioSelect,
        help_text=_("The best-by date is always on the page, as on the label."),
    )
    region = forms.CharField(
        label=_("Region"),
        required=False,
        max_length=80,
        help_text=_(
            "Where your honey comes from, as on your label. It is on the page of every lot; "
            "leave it empty if you also pack honey from elsewhere. Yards are never shown."
        ),
    )
    shows_phone = forms.BooleanField(label=_("Your telephone number"), required=False)
    shows_email = forms.BooleanField(label=_("Your e-mail address"), required=False)
    note = forms.CharField(
        label=_("Your note"),
        required=False,
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_("A few words to the people who eat your honey. It is on every page."),
    )
    hold_sentence = forms.CharField(
        label=_("What the page of a lot on hold says"),
        required=False,
        max_length=300,
        help_text=_(
            "Leave it empty for “Please ask us about this lot.” In a recall, write here what "
            "to do with the jar. The page of a lot on hold always has your telephone number "
            "and e-mail address, and does not say why the lot is on hold."
        ),
    )

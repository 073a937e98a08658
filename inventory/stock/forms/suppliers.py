"""The form of a supplier, the list of them, and the field that asks for one in other forms."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.countries import CountryField
from inventory.shared.forms.fields import WholeNumberField
from inventory.stock.models import Supplier

# Common practice where nothing else was agreed.
TERMS_DAYS = 30


class KnownNamesInput(forms.TextInput):
    """A text box that offers the names of the suppliers in use and takes a new one."""

    template_name = "django/forms/widgets/known_names.html"

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        listed = {**(attrs or {}), "list": f"{name}-known", "autocomplete": "off"}
        names = Supplier.objects.filter(is_active=True).values_list("name", flat=True)
        return super().get_context(name, value, listed) | {"names": names}


class SupplierNameField(forms.CharField):
    """The name of a supplier, chosen or new."""

    widget = KnownNamesInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", _("Choose one, or type a new name to add it."))
        super().__init__(max_length=120, **kwargs)


class SupplierForm(ActForm):
    """What is known of a supplier."""

    name = forms.CharField(
        label=_("Name"),
        max_length=120,
        error_messages={"required": _("Enter the name of the supplier.")},
    )
    kind = forms.ChoiceField(
        label=_("Kind"),
        choices=Supplier.Kind,
        initial=Supplier.Kind.PARTS,
        widget=forms.RadioSelect,
        help_text=_("A beekeeper is somebody whose own honey you extract, store or pack."),
    )
    contact = forms.CharField(label=_("Contact person"), max_length=120, required=False)
    phone = forms.CharField(
        label=_("Telephone"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label=_("E-mail"),
        required=False,
        error_messages={"invalid": _("Enter an e-mail address, for example name@place.example.")},
    )
    street = forms.CharField(label=_("Street"), max_length=160, required=False)
    city = forms.CharField(label=_("Town"), max_length=80, required=False)
    region = forms.CharField(label=_("State or region"), max_length=80, required=False)
    postal_code = forms.CharField(label=_("Postal code"), max_length=20, required=False)
    country = CountryField(label=_("Country"), required=False)
    tax_number = forms.CharField(label=_("Tax number"), max_length=40, required=False)
    terms_days = WholeNumberField(
        label=_("Bills are due after"),
        initial=TERMS_DAYS,
        required=False,
        max_value=365,
        min_value=0,
        error_messages={
            "min_value": _("Enter 0 days or more."),
            "max_value": _("Enter 365 days or fewer."),
        },
        help_text=_("Days from the date of the bill. You may change it on each bill."),
    )
    payment_details = forms.CharField(
        label=_("How they are paid"),
        max_length=300,
        required=False,
        help_text=_("For example the account, or the name on checks."),
    )
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def clean_terms_days(self) -> int:
        days: int | None = self.cleaned_data["terms_days"]
        return TERMS_DAYS if days is None else days


class SupplierFilterForm(HouseForm):
    """Which suppliers the list shows; everything may be left empty."""

    words = forms.CharField(label=_("Find"), required=False, max_length=100)
    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Supplier.Kind.choices]
    )
    all = forms.BooleanField(label=_("Also show those not in use"), required=False)

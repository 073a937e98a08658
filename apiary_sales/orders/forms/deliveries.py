"""Who carries the goods of a fulfilment, and where to."""

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.models import Delivery
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import WholeNumberField


class CarrierForm(ActForm):
    carrier = forms.CharField(label=_("Carrier"), max_length=80, required=False)
    vehicle = forms.CharField(label=_("Truck or trailer"), max_length=60, required=False)
    ship_to = forms.CharField(
        label=_("Ship to"),
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text=_(
            "Name and address, a line each. Leave it empty for the delivery address of the order, "
            "or the customer's own where it has none."
        ),
    )
    freight = forms.ChoiceField(
        label=_("Freight charges"),
        choices=[("", _("not said")), *Delivery.Freight.choices],
        required=False,
    )
    packages = WholeNumberField(
        label=_("Number of packages"),
        required=False,
        min_value=1,
        help_text=_("Leave it empty to count the drums and the cases."),
    )
    instructions = forms.CharField(label=_("Instructions"), max_length=300, required=False)

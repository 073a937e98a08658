"""The form that says whose private label a brand is."""

from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.fields import CustomerField
from inventory.shared.forms.acts import HouseForm


class PrivateLabelForm(HouseForm):
    """The one customer of a brand, or everybody."""

    customer = CustomerField(
        label=_("Sold only to"),
        required=False,
        empty_label=_("everybody: it is no private label"),
    )

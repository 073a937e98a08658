"""Which receipts of the stand a list shows."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Payment
from apiary_sales.billing.queries import receipts
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import DayField
from inventory.stock.models import Place

METHODS = (Payment.Method.CASH, Payment.Method.CARD, Payment.Method.CHECK)


class SellerField(forms.ModelChoiceField[User]):
    def label_from_instance(self, obj: User) -> str:
        return obj.display_name


class ReceiptFilterForm(HouseForm):
    """Which receipts a list shows; what is unreadable is left out."""

    text = forms.CharField(label=_("Number or amount"), max_length=60, required=False)
    on = DayField(label=_("Day"), required=False)
    place = forms.ModelChoiceField(
        label=_("Place"),
        queryset=Place.objects.none(),
        to_field_name="code",
        required=False,
        empty_label=_("all"),
    )
    seller = SellerField(
        label=_("Sold by"), queryset=User.objects.none(), required=False, empty_label=_("all")
    )
    method = forms.ChoiceField(
        label=_("Paid by"),
        choices=[("", _("all")), *((method.value, method.label) for method in METHODS)],
        required=False,
    )

    def __init__(self, *args: Any, user: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, known in (
            ("place", receipts.places_of(user)),
            ("seller", receipts.sellers_of(user)),
        ):
            field = self.fields[name]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = known

    def asked(self) -> dict[str, Any]:
        """Return what was asked for and can be read."""
        self.is_valid()
        return {name: value for name, value in self.cleaned_data.items() if value}

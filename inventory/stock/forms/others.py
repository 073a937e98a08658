"""Forms about honey of other beekeepers."""

from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, WholeNumberField
from inventory.shared.weights import by_unit
from inventory.stock.forms.deliveries import DeliveryForm
from inventory.stock.forms.fields import VesselField, note_field
from inventory.stock.forms.honey import AllOrSomeForm
from inventory.stock.forms.stores import StockField
from inventory.stock.models import Lot, Supplier
from inventory.stock.queries import honey


class OwnerReceiptForm(DeliveryForm):
    """Honey of a beekeeper that is extracted here for them, or comes to be stored or packed."""

    owner = forms.ModelChoiceField(
        label=_("Belongs to"),
        queryset=Supplier.objects.beekeepers(),
        empty_label=_("Choose a beekeeper"),
        error_messages={"required": _("Choose whose honey it is.")},
    )
    kind = forms.ChoiceField(
        label=_("What you do"),
        choices=[
            (Lot.Kind.EXTRACTION, _("extract it for them")),
            (Lot.Kind.STORED, _("store or pack it: it comes as honey")),
        ],
        initial=Lot.Kind.EXTRACTION,
        widget=forms.RadioSelect,
    )
    supplier_lot = forms.CharField(label=_("Their lot code"), max_length=60, required=False)


class HandBackForm(AllOrSomeForm):
    """Honey in a vessel that goes back to its owner."""

    place = VesselField(label=_("From"), of_others=True, of_any_day=True)
    handed_on = DayField(label=_("Handed back on"), initial=timezone.localdate)
    note = note_field()


class HandBackJarsForm(ActForm):
    """Packed pieces that go back to their owner."""

    fields_of_parameters = {"lot": "stock"}

    stock = StockField(label=_("What"))
    pieces = WholeNumberField(label=_("Pieces"), error_messages={"required": _("Enter how many.")})
    handed_on = DayField(label=_("Handed back on"), initial=timezone.localdate)
    note = note_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(StockField, self.fields["stock"]).queryset = honey.stock_lately(of_others=True)


class BuyFromOwnerForm(AllOrSomeForm):
    """Honey in a vessel that the house buys from its owner."""

    fields_of_parameters = {**AllOrSomeForm.fields_of_parameters, "cost_cents": "cost"}
    one_of_several = (*AllOrSomeForm.one_of_several, "cost", "price_per_pound")

    place = VesselField(label=_("From"), of_others=True)
    target = VesselField(
        label=_("Into"),
        required=False,
        empty_label=_("it stays where it is"),
        help_text=_("A part of a vessel needs another one, because the rest is not yours."),
    )
    cost = MoneyField(label=_("What you pay for it"), required=False)
    price_per_pound = NumberField(
        label=by_unit(_("Or the price of a {unit}")),
        max_digits=10,
        decimal_places=4,
        required=False,
    )
    bought_on = DayField(label=_("Bought on"), initial=timezone.localdate)
    note = note_field()

"""The forms that set what a product is taxed as, and how each kind of goods is taxed."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.pricing.forms.prices import ValidFromField
from apiary_sales.pricing.models import GoodsCategory, TaxRate
from apiary_sales.pricing.rules import tax
from inventory.bottling.models import Product
from inventory.shared.forms.acts import HouseForm

AS_HONEY, AS_OTHER = gettext_lazy("honey"), gettext_lazy("other goods")
WORDS = {TaxRate.Goods.HONEY: AS_HONEY, TaxRate.Goods.OTHER: AS_OTHER}


USUAL = "usual"


class ProductTaxForm(HouseForm):
    """Taxed as is usual for such a product, or as one of the classes."""

    taxed_as = forms.ChoiceField(label=gettext_lazy("Taxed as"), widget=forms.RadioSelect)

    def __init__(self, *args: Any, product: Product, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        usual = _("as is usual for it: %(usual)s") % {"usual": WORDS[tax.usual_class(product)]}
        cast(forms.ChoiceField, self.fields["taxed_as"]).choices = [
            (USUAL, usual),
            *((goods.value, WORDS[goods]) for goods in tax.CLASSES),
        ]

    def clean_taxed_as(self) -> str:
        chosen: str = self.cleaned_data["taxed_as"]
        return "" if chosen == USUAL else chosen


class GoodsCategoryForm(HouseForm):
    """How one kind of goods is taxed, from a day on."""

    goods = forms.ChoiceField(label=gettext_lazy("Goods"), choices=TaxRate.Goods)
    category = forms.ChoiceField(
        label=gettext_lazy("How it is taxed"),
        choices=GoodsCategory.Category,
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=120,
        required=False,
        help_text=gettext_lazy(
            "Where it is exempt, for example: food for home consumption, exempt by state law. "
            "It is printed on invoices."
        ),
    )
    valid_from = ValidFromField()

"""What is asked about sizes and their parts."""

from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from apiary_sales.web.first_hour.forms.rows import RowForm
from inventory.bottling.models import PackagingPart, Size
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import NumberField, WholeNumberField


class UsualSizesForm(HouseForm):
    """Which of the sizes that are usual in the market the house fills."""

    sizes = forms.MultipleChoiceField(
        label=_("Usual sizes"), required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, choices: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.MultipleChoiceField, self.fields["sizes"]).choices = choices


class OwnSizeRow(RowForm):
    """A size of the house's own."""

    asks = ("name", "declared_amount", "brimful_ml")

    name = forms.CharField(label=_("Name"), max_length=60)
    declared_amount = NumberField(
        label=_("Net weight on the label"), max_digits=8, decimal_places=3
    )
    declared_unit = forms.ChoiceField(label=_("Unit"), choices=Size.Unit)
    brimful_ml = WholeNumberField(label=_("To the brim, ml"))
    pieces_per_case = WholeNumberField(label=_("In a case"))


class PartsRow(RowForm):
    """What one size is made up from; the same name in two rows is one part."""

    KINDS = {
        "jar": PackagingPart.Kind.JAR,
        "lid": PackagingPart.Kind.LID,
        "label": PackagingPart.Kind.LABEL,
        "case": PackagingPart.Kind.CASE,
    }

    jar = forms.CharField(label=_("Jar or jug"), max_length=80, required=False)
    lid = forms.CharField(label=_("Lid"), max_length=80, required=False)
    label = forms.CharField(label=_("Label"), max_length=80, required=False)
    case = forms.CharField(label=_("Case"), max_length=80, required=False)

"""Forms of products: a honey in a size, and the varieties and brands it is sold under."""

from typing import Any, cast

from django import forms
from django.db.models import Q
from django.forms import formset_factory
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms import PartUseForm, PiecesField
from inventory.bottling.models import Brand, PackagingPart, Product, Size, Variety
from inventory.bottling.services.products import NAME_LENGTH_MAX, NAME_PART_LENGTH_MAX
from inventory.shared.forms.acts import ActForm

WHAT_A_FLORAL_SOURCE_DOES = _(
    "For example buckwheat: other honey is only filled under this name if you confirm it. "
    "Leave it empty for a house blend: you choose the lots yourself."
)


class HoneyProductForm(ActForm):
    """A honey in a size with the lines of its own parts below."""

    fields_of_parameters = {"is_weighed": "counted"}

    # What makes a product this one; a standard product has no choice here.
    IDENTITY = (
        "size",
        "variety",
        "new_variety",
        "new_floral_source",
        "form",
        "brand",
        "new_brand",
    )
    PART_LINES_SPARE = 2

    size = forms.ModelChoiceField(
        label=_("Size"), queryset=Size.objects.filter(is_active=True), empty_label=None
    )
    variety = forms.ModelChoiceField(
        label=_("Variety"),
        queryset=Variety.objects.filter(is_active=True),
        required=False,
        empty_label=_("not named"),
    )
    new_variety = forms.CharField(
        label=_("Or a new variety"), required=False, max_length=NAME_PART_LENGTH_MAX
    )
    new_floral_source = forms.CharField(
        label=_("Floral source of the new variety"),
        required=False,
        max_length=120,
        help_text=WHAT_A_FLORAL_SOURCE_DOES,
    )
    form = forms.ChoiceField(label=_("Form"), choices=Product.Form)
    counted = forms.ChoiceField(
        label=_("Comb is counted"),
        choices=[("pieces", _("by the piece")), ("weight", _("by weight"))],
        required=False,
        help_text=_("For comb honey: by weight if it is to be cut or put into jars later."),
    )
    brand = forms.ModelChoiceField(
        label=_("Brand"),
        queryset=Brand.objects.filter(is_active=True),
        required=False,
        empty_label=_("your own"),
    )
    new_brand = forms.CharField(
        label=_("Or a new brand"), required=False, max_length=NAME_PART_LENGTH_MAX
    )
    name = forms.CharField(
        label=_("Name"),
        required=False,
        max_length=NAME_LENGTH_MAX,
        help_text=_("Leave empty to call it by what it is, for example “One pound, Buckwheat”."),
    )
    gtin = forms.CharField(
        label=_("GTIN (bar code number)"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    low_stock_pieces = PiecesField(label=_("Show as low when fewer than"), initial=0)

    def __init__(self, *args, product: Product | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if product:
            # What the ledger counts it in is said once.
            del self.fields["counted"]
        if product and product.is_standard:
            for name in self.IDENTITY:
                del self.fields[name]
        elif product:
            self._keep_offering(product)
        uses = list(product.product_parts.order_by("id")) if product else []
        parts = [("", "–"), *((part.pk, part.name) for part in PackagingPart.objects.all())]
        lines = formset_factory(
            PartUseForm, extra=self.PART_LINES_SPARE, max_num=30, absolute_max=60
        )
        self.part_lines = lines(
            self.data if self.is_bound else None,
            prefix="parts",
            form_kwargs={"parts": parts},
            initial=[
                {"part": use.part_id, "quantity": use.quantity, "per_pieces": use.per_pieces}
                for use in uses
            ],
        )

    def lists(self) -> list[Any]:
        return [self.part_lines]

    def is_valid(self) -> bool:
        # Both are asked, so that every problem is told at once.
        own, lines = super().is_valid(), self.part_lines.is_valid()
        return own and lines

    def _keep_offering(self, product: Product) -> None:
        """Let what the product has be chosen, though it is out of use by now."""
        for name, model, chosen in (
            ("size", Size, product.size_id),
            ("variety", Variety, product.variety_id),
            ("brand", Brand, product.brand_id),
        ):
            field = cast(forms.ModelChoiceField, self.fields[name])
            field.queryset = model._default_manager.filter(Q(is_active=True) | Q(pk=chosen))


class VarietyForm(ActForm):
    name = forms.CharField(
        label=_("Name"),
        max_length=NAME_PART_LENGTH_MAX,
        error_messages={"required": _("Enter a name, for example “Buckwheat”.")},
    )
    floral_source = forms.CharField(
        label=_("Floral source"),
        required=False,
        max_length=120,
        help_text=WHAT_A_FLORAL_SOURCE_DOES,
    )
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)


class BrandForm(ActForm):
    name = forms.CharField(
        label=_("Name on the label"),
        max_length=NAME_PART_LENGTH_MAX,
        error_messages={"required": _("Enter the name on the label.")},
    )
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)

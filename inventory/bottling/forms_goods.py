"""Forms of other goods: set up, received, and made."""

from typing import Any, cast

from django import forms
from django.forms import formset_factory
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms import PiecesField, stores
from inventory.bottling.models import PackagingPart, Product
from inventory.bottling.services.goods import Material
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import DayField, MoneyField
from inventory.stock import lot_codes
from inventory.stock.forms.amounts import AmountField, amount_of, as_amount
from inventory.stock.forms.suppliers import SupplierNameField

HOW_MUCH = _("How many, or how much")


def lot_code_field(label: Any, help_text: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=help_text,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )


def goods_field() -> forms.ModelChoiceField:
    return forms.ModelChoiceField(
        label=_("What"), queryset=Product.objects.in_use().of_goods(), empty_label=None
    )


class GoodsForm(ActForm):
    """Goods that are set up or changed."""

    PIECES, WEIGHT = "pieces", "weight"
    fields_of_parameters = {"is_weighed": "counted_in"}

    name = forms.CharField(
        label=_("Name"), max_length=100, error_messages={"required": _("Enter a name.")}
    )
    counted_in = forms.ChoiceField(
        label=_("Kept"),
        choices=[
            (PIECES, _("in pieces: candles, books, empty jars")),
            (WEIGHT, _("by weight: wax, pollen, propolis")),
        ],
        initial=PIECES,
        widget=forms.RadioSelect,
    )
    low_stock = AmountField(label=_("Show as low when less than"), required=False)
    gtin = forms.CharField(
        label=_("GTIN (bar code number)"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)

    def __init__(self, *args: Any, product: Product | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if product and not self.is_bound:
            low = as_amount(product.low_stock_pieces, product.item)
            self.initial.update(
                name=product.name,
                counted_in=self.WEIGHT if product.item.is_weighed else self.PIECES,
                low_stock=list(low) if product.low_stock_pieces else None,
                gtin=product.gtin,
                is_active=product.is_active,
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["is_weighed"] = data.pop("counted_in", "") == self.WEIGHT
        low = data.get("low_stock")
        if low and low.number and low.is_weight != data["is_weighed"]:
            self.add_error(
                "low_stock",
                _("Choose a unit of weight.")
                if data["is_weighed"]
                else _("Choose “pieces” as the unit."),
            )
        data["low_stock"] = low.number if low else 0
        return data


class GoodsReceiveForm(ActForm):
    fields_of_parameters = {"cost_cents": "cost"}

    product = goods_field()
    quantity = AmountField(label=HOW_MUCH)
    cost = MoneyField(
        label=_("Total cost"),
        help_text=_("Include freight, so that the cost of each is right."),
        error_messages={"required": _("Enter what all of it cost, or 0 if it was free.")},
    )
    supplier = SupplierNameField(label=_("Supplier"), required=False)
    maker_lot = lot_code_field(
        _("Lot code of the maker"),
        _(
            "As printed on the goods; it finds them in a recall. Leave empty where there is none: "
            "the goods get the next code of your own."
        ),
    )
    best_by = DayField(label=_("Best by"), required=False)
    place = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    received_on = DayField(label=_("Day"), initial=timezone.localdate)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        product: Product | None = data.get("product")
        data["quantity"] = amount_of(self, "quantity", product.item if product else None)
        return data


def _materials() -> list[Any]:
    goods = Product.objects.in_use().of_goods().order_by("name")
    parts = PackagingPart.objects.filter(is_active=True).order_by("name")
    return [
        ("", "–"),
        (str(_("Other goods")), [(f"goods-{each.pk}", each.name) for each in goods]),
        (str(_("Parts")), [(f"part-{each.pk}", each.name) for each in parts]),
    ]


class MaterialForm(HouseForm):
    """One line of what goods are made of."""

    thing = forms.ChoiceField(label=_("Material"), required=False)
    quantity = AmountField(label=_("Used in all"), required=False)
    lost = AmountField(label=_("Of it lost"), required=False)

    def __init__(self, *args: Any, things: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Read once for all the lines.
        cast(forms.ChoiceField, self.fields["thing"]).choices = things

    def clean_thing(self) -> Product | PackagingPart | None:
        kind, _dash, pk = self.cleaned_data["thing"].partition("-")
        if not pk:
            return None
        if kind == "goods":
            return Product.objects.select_related("item").get(pk=pk)
        return PackagingPart.objects.select_related("item").get(pk=pk)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        thing = data.get("thing")
        if thing is None:
            if data.get("quantity") and "thing" not in self.errors:
                self.add_error("thing", _("Choose what was used."))
            return data
        if not data.get("quantity") and "quantity" not in self.errors:
            self.add_error("quantity", _("Enter how much was used."))
        data["quantity"] = amount_of(self, "quantity", thing.item)
        data["lost"] = amount_of(self, "lost", thing.item) or 0
        return data


class GoodsMakeForm(ActForm):
    """Goods that were made or gathered, with the lines of what went into them."""

    LINES = 4

    product = goods_field()
    quantity = AmountField(label=_("Made"))
    labour_minutes = PiecesField(
        label=_("Minutes of work"),
        required=False,
        help_text=_("All people together. Left empty, the cost has materials only."),
    )
    lot_code = lot_code_field(_("Lot code"), _("Leave empty to get the next code of your own."))
    best_by = DayField(label=_("Best by"), required=False)
    place = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    made_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = formset_factory(MaterialForm, extra=self.LINES, max_num=30, absolute_max=60)
        self.material_lines = lines(
            self.data if self.is_bound else None,
            prefix="materials",
            form_kwargs={"things": _materials()},
        )

    def is_valid(self) -> bool:
        # Both are asked, so that every problem is told at once.
        own, lines = super().is_valid(), self.material_lines.is_valid()
        return own and lines

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        product: Product | None = data.get("product")
        data["quantity"] = amount_of(self, "quantity", product.item if product else None)
        return data

    def materials(self) -> list[Material]:
        """Return the lines of a valid form that say something."""
        return [
            Material(line["thing"], line["quantity"], line["lost"])
            for line in self.material_lines.cleaned_data
            if line.get("thing")
        ]

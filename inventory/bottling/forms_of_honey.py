"""Forms of creamed, chunk and comb honey: seed and comb beside a run's honey, harvest, cutting."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.queries import additions
from inventory.bottling.queries.additions import RunAddition, Wanted
from inventory.bottling.rules import forms_of_honey
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
)
from inventory.shared.row_keys import row_key
from inventory.stock import lot_codes
from inventory.stock.forms.fields import VesselField, note_field
from inventory.stock.models import Balance, Place


class CombField(forms.ModelChoiceField):
    """Comb honey in stock, shown with its lot, where it is and how much is free."""

    def __init__(self, *, to_cut: bool = False, **kwargs: Any) -> None:
        super().__init__(
            queryset=additions.comb_in_stock(to_cut=to_cut),
            error_messages={"invalid_choice": _("That comb is gone. Choose one from the list.")},
            **kwargs,
        )

    def label_from_instance(self, comb: Balance) -> str:
        return _("%(item)s, lot %(lot)s, %(place)s: %(free)s") % {
            "item": comb.item.name,
            "lot": comb.honey_lot.code,
            "place": comb.place.name,
            "free": comb.item.in_words(comb.free),
        }


class CombWeightField(WeightField):
    """The weight of a piece of comb: ounces come first."""

    units = [("oz", _("oz")), ("g", _("g")), ("lb", _("lb"))]


class PlannedAdditionForm(ActForm):
    """The part of a plan that is for creamed and chunk honey alone."""

    seed_source = VesselField(
        label=_("Seed from"), filled=True, required=False, empty_label=_("no seed")
    )
    seed_percent = NumberField(
        label=_("Share of the seed, percent"),
        max_digits=4,
        decimal_places=1,
        required=False,
        initial=forms_of_honey.USUAL_SEED_PERCENT,
        # xgettext:no-python-format
        help_text=_("Of all the honey in the jars. 5 to 15 % is common."),
    )
    setting_place = forms.CharField(
        label=_("Where it sets"),
        max_length=80,
        required=False,
        help_text=_("A cool room, about 57 °F (14 °C), is common."),
    )
    setting_days = WholeNumberField(
        label=_("Days until it is ready"),
        required=False,
        help_text=_("Leave empty to use your usual days. 7 to 14 are common."),
    )
    comb = CombField(label=_("Comb"), required=False, empty_label=_("no comb"))
    comb_grams_each = CombWeightField(label=_("Comb in one jar"), required=False)
    share_is_right = forms.BooleanField(
        label=_("Yes, the share of the seed is right"), required=False
    )

    @cached_property
    def forms_in_use(self) -> set[str]:
        return additions.forms_in_use()

    @property
    def has_creamed(self) -> bool:
        return Product.Form.CREAMED in self.forms_in_use

    @property
    def has_chunk(self) -> bool:
        return Product.Form.CHUNK in self.forms_in_use

    @property
    def chosen_form(self) -> str:
        """The form of the product that is chosen, or empty."""
        found = Product.objects.filter(pk=row_key(self["product"].value())).first()
        return found.form if found else ""

    @property
    def asks_about_the_share(self) -> bool:
        """Whether the box that confirms an unusual share of seed is shown."""
        return self.is_bound and bool(
            self.errors.get("share_is_right") or self["share_is_right"].value()
        )

    def wanted(self) -> Wanted:
        """Return the seed and the comb that were typed, as far as they are valid."""
        data = self.cleaned_data
        return Wanted(
            seed_source=data.get("seed_source"),
            seed_percent=data.get("seed_percent"),
            setting_place=data.get("setting_place") or "",
            setting_days=data.get("setting_days"),
            comb=data.get("comb"),
            comb_grams_each=data.get("comb_grams_each"),
        )


class RecordedAdditionForm(ActForm):
    """The part of a record that is for runs with seed or comb alone."""

    run: BottlingRun

    seed_grams = WeightField(
        label=_("Seed drawn"),
        required=False,
        help_text=_("Leave empty when it was the share that was planned."),
    )
    comb_grams = WeightField(
        label=_("Comb used"),
        required=False,
        help_text=_("Leave empty when it was as much as was planned."),
    )
    comb_pieces = WholeNumberField(
        label=_("Pieces of comb used"),
        required=False,
        help_text=_("Leave empty when it was as much as was planned."),
    )

    @cached_property
    def addition(self) -> RunAddition:
        return additions.of_run(self.run)

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "comb_quantity":
            return "comb_grams" if self.addition.is_comb_weighed else "comb_pieces"
        return super().field_of(parameter)

    def clean(self) -> dict[str, Any]:
        """Add `comb_quantity`, in what the comb is counted in; None is what was planned."""
        data = super().clean() or {}
        comb = "comb_grams" if self.addition.is_comb_weighed else "comb_pieces"
        data["comb_quantity"] = data.get(comb)
        return data


def comb_products():
    return Product.objects.in_use().filter(form=Product.Form.COMB)


def stores():
    return Place.objects.filter(kind__in=Place.STORES, is_active=True)


class CombReceiveForm(ActForm):
    fields_of_parameters = {"cost_cents": "cost", "quantity": "pieces"}
    # Pieces or a weight is wanted, and the browser can't know which.
    use_required_attribute = False

    product = forms.ModelChoiceField(
        label=_("Comb honey"), queryset=comb_products(), empty_label=None
    )
    pieces = WholeNumberField(label=_("Pieces"), required=False)
    weight = WeightField(
        label=_("Weight"),
        required=False,
        help_text=_("Instead of pieces, for comb that is counted by weight."),
    )
    place = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        help_text=_("For example clover, or wildflower."),
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    yard = forms.CharField(label=_("Yard or area"), max_length=120, required=False)
    harvested_on = DayField(label=_("Taken from the hives on"), initial=timezone.localdate)
    season = WholeNumberField(label=_("Season"))
    lot_code = forms.CharField(
        label=_("Lot code"),
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=_("Leave empty to get the next code by your pattern."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    cost = MoneyField(
        label=_("What it cost"),
        required=False,
        help_text=_("The cost of all of it together. You can leave it empty."),
    )
    note = note_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season"].initial = str(timezone.localdate().year)

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "quantity" and self.is_by_weight:
            return "weight"
        return super().field_of(parameter)

    @property
    def is_by_weight(self) -> bool:
        product = self.cleaned_data.get("product")
        return product is not None and product.item.is_weighed

    def clean(self) -> dict[str, Any]:
        """Add `quantity`, in what the product is counted in."""
        data = super().clean() or {}
        if data.get("product") is None or {"pieces", "weight"} & set(self.errors):
            return data
        wanted, other = ("weight", "pieces") if self.is_by_weight else ("pieces", "weight")
        if data.get(wanted) is None:
            self.add_error(
                wanted,
                _("Enter the weight: this comb is counted by weight.")
                if self.is_by_weight
                else _("Enter the pieces: this comb is counted by the piece."),
            )
        elif data.get(other) is not None:
            self.add_error(other, _("Leave this empty for the comb that you chose."))
        data["quantity"] = data.get(wanted)
        return data


class CombCutForm(ActForm):
    fields_of_parameters = {
        "loss_grams": "loss",
        "drained_grams": "drained",
        "moisture_percent": "moisture",
    }

    comb = CombField(label=_("Comb"), to_cut=True, empty_label=None)
    comb_grams = WeightField(label=_("Weight of the comb that was cut"))
    product = forms.ModelChoiceField(
        label=_("Cut into"),
        queryset=comb_products().filter(item__is_weighed=False),
        empty_label=None,
    )
    pieces = WholeNumberField(label=_("Pieces"))
    target = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    loss = WeightField(
        label=_("Lost"),
        required=False,
        help_text=_("Scraps, and honey that drained and was not kept."),
    )
    drained = WeightField(label=_("Honey drained and kept"), required=False)
    vessel = VesselField(label=_("Drained into"), required=False, empty_label=_("no vessel"))
    moisture = NumberField(
        label=_("Moisture of the drained honey, percent"),
        max_digits=5,
        decimal_places=2,
        required=False,
    )
    cut_on = DayField(label=_("Day"), initial=timezone.localdate)
    lot_code = forms.CharField(
        label=_("Lot code"),
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=_("Leave empty to get the next code by your pattern."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    figures_are_right = forms.BooleanField(label=_("Yes, that much comb was cut"), required=False)
    note = note_field()

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms odd figures is shown."""
        return self.is_bound and bool(
            self.errors.get("figures_are_right") or self["figures_are_right"].value()
        )

    @property
    def has_drained(self) -> bool:
        """Whether something about drained honey was typed, so that its fields are open."""
        names = ("drained", "vessel", "moisture")
        return self.is_bound and any(
            self.errors.get(name) or self.cleaned_data.get(name) for name in names
        )


class ReadyNowForm(ActForm):
    """Says that creamed honey is ready; who says so is the person who is signed in."""

"""Forms of the bottling room: runs, fill checks, sizes, parts and how the house works."""

from decimal import Decimal
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.forms import formset_factory
from django.utils import timezone
from django.utils.functional import lazy
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms_of_honey import PlannedAdditionForm, RecordedAdditionForm
from inventory.bottling.models import BottlingRun, FillCheck, PackagingPart, Product, Size
from inventory.bottling.rules import filling
from inventory.shared import typed, words
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import (
    DayField,
    LengthField,
    MoneyField,
    NumberField,
    QuantityField,
    TemperatureField,
    VolumeField,
    WeightField,
    WholeNumberField,
    decimal_sign,
)
from inventory.stock import lot_codes
from inventory.stock.forms.fields import (
    VesselField,
    as_temperature,
    as_weight,
    moisture_is_right_field,
    usual_temperature,
)
from inventory.stock.forms.suppliers import SupplierNameField
from inventory.stock.models import Balance, LotHold, Place, PostingLine, ProductionSettings

if TYPE_CHECKING:
    from pint import Quantity


# Room for as many weights as one sample may have, each with its unit.
WEIGHTS_LENGTH_MAX = 40_000


class DeclaredWeightField(QuantityField):
    """The net weight on a label, kept as typed; comes out as a pair of amount and unit."""

    kind = "weight"
    units = [("lb", _("lb")), ("oz", _("oz")), ("g", _("g")), ("kg", _("kg"))]

    def to_rest(self, quantity: "Quantity[Decimal]", unit: str) -> tuple[Decimal, str]:
        # Twenty decimals are more than can be typed, and fewer than converting gets wrong.
        number = round(quantity.m_as(unit), 20)
        if round(number, 3) != number:
            raise ValidationError(_("Enter at most three decimals."))
        return round(number, 3), unit


class BrimfulField(VolumeField):
    """A capacity in millilitres, fluid ounces or litres; comes out in ml to a tenth."""

    units = [("mL", _("ml")), ("fl_oz", _("fl oz")), ("L", _("L")), ("gal", _("gal"))]

    def to_rest(self, quantity: "Quantity[Decimal]", unit: str) -> Decimal:
        litres: Decimal = quantity.m_as("L")
        return (litres * 1000).quantize(Decimal("0.1"))


class StickMarkField(LengthField):
    """The distance between two marks of a stick; comes out in millimetres to a tenth."""

    units = [("mm", _("mm")), ("in", _("in"))]

    def to_rest(self, quantity: "Quantity[Decimal]", unit: str) -> Decimal:  # type: ignore[override]
        millimetres: Decimal = quantity.m_as("mm")
        return millimetres.quantize(Decimal("0.1"))


class SmallWeightField(WeightField):
    """The weight of something light: grams come first."""

    units = [("g", _("g")), ("oz", _("oz")), ("lb", _("lb"))]


class PiecesField(WholeNumberField):
    """How many: a whole number, typed with the number keys of a phone."""

    default_error_messages = {"required": _("Enter how many.")}


def _weights_help() -> str:
    examples = {"point": decimal_sign()}
    return (
        gettext(
            "As the scale shows them: 456%(point)s5, 16 1/2 oz, 1 lb 4%(point)s5 oz or "
            "0%(point)s46 kg. Type or paste them: one on each line, or with semicolons or spaces "
            "between them. Choose the pieces at random."
        )
        % examples
    )


def stores() -> QuerySet[Place]:
    return Place.objects.filter(kind__in=Place.STORES, is_active=True)


class RunPlanForm(PlannedAdditionForm):
    product = forms.ModelChoiceField(
        label=_("What is filled"),
        queryset=Product.objects.for_sale()
        .of_honey()
        .exclude(form=Product.Form.COMB)
        .select_related("size"),
        empty_label=None,
    )
    source = VesselField(label=_("From"), filled=True, of_any_day=True, empty_label=None)
    pieces = PiecesField(label=_("Pieces wanted"))
    celsius = TemperatureField(
        label=_("Temperature of the honey when it is filled"),
        required=False,
        help_text=_("Leave empty to use the usual filling temperature."),
    )
    target = forms.ModelChoiceField(
        label=_("Put the filled pieces on"), queryset=stores(), empty_label=None
    )
    planned_for = DayField(label=_("Day"), initial=timezone.localdate)
    lot_code = forms.CharField(
        label=_("Lot code on the jars"),
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=_("Leave empty to get the next code by your pattern."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    without_labels = forms.BooleanField(
        label=_("Label them later"),
        required=False,
        help_text=_("Fill and lid the jars only. They are not for sale until they have a label."),
    )
    lot_code_is_right = forms.BooleanField(label=_("Yes, one code is right"), required=False)
    variety_is_right = forms.BooleanField(label=_("Yes, the label is right"), required=False)
    moisture_is_right = moisture_is_right_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["celsius"].initial = usual_temperature()

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms the variety is shown."""
        return self.is_bound and bool(
            self.errors.get("variety_is_right") or self["variety_is_right"].value()
        )

    @property
    def asks_about_moisture(self) -> bool:
        """Whether the box that confirms honey above the limit of moisture is shown."""
        return self.is_bound and bool(
            self.errors.get("moisture_is_right") or self["moisture_is_right"].value()
        )

    @property
    def asks_about_code(self) -> bool:
        """Whether the box that confirms the lot code is shown."""
        return self.is_bound and bool(
            self.errors.get("lot_code_is_right") or self["lot_code_is_right"].value()
        )


def recorded_figures(run: BottlingRun) -> dict[str, Any]:
    """Return what a run was recorded with, as its forms show it."""
    day = run.packed_lot.made_on if run.packed_lot else None
    return {
        "pieces_filled": run.pieces_filled,
        "pieces_broken": run.pieces_broken,
        "drawn": as_weight(run.drawn_grams or 0),
        "loss": as_weight(run.loss_grams),
        "labour_minutes": run.labour_minutes,
        "bottled_on": day,
    }


class RunRecordForm(RecordedAdditionForm):
    # What is wanted depends on the other figures, which the browser can't know.
    use_required_attribute = False
    fields_of_parameters = {
        "drawn_grams": "drawn",
        "before_mm": "depth_before",
        "after_mm": "depth_after",
        "loss_grams": "loss",
    }

    pieces_filled = PiecesField(label=_("Pieces filled"))
    pieces_broken = PiecesField(
        label=_("Pieces broken"),
        required=False,
        help_text=_("Filled and then broken or thrown out."),
    )
    drawn = WeightField(
        label=_("Honey drawn, by the scale"),
        required=False,
        help_text=_(
            "All the honey that left the vessel, including honey lost in filling. Leave it empty "
            "where nobody measured it: it is then estimated, and a later dip settles it."
        ),
    )
    depth_before = LengthField(label=_("Dip before"), required=False)
    depth_after = LengthField(label=_("Dip after"), required=False)
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    loss = WeightField(
        label=_("Honey lost in filling"),
        required=False,
        help_text=_("Left in the filler and hoses, on the floor, or down the drain."),
    )
    labour_minutes = PiecesField(
        label=_("Minutes of work"),
        required=False,
        help_text=_(
            "All people together. If this is left empty, the cost of the jars has honey "
            "and parts only, and their page says so."
        ),
    )
    target = forms.ModelChoiceField(
        label=_("The filled pieces are on"), queryset=stores(), empty_label=None
    )
    bottled_on = DayField(label=_("Day of the run"), initial=timezone.localdate)
    without_labels = forms.BooleanField(
        label=_("They have no labels yet"),
        required=False,
        help_text=_("They are not for sale until they have a label, and no label is booked out."),
    )
    figures_are_right = forms.BooleanField(
        label=_("Yes, that much honey was drawn"), required=False
    )

    def __init__(self, *args, run: BottlingRun, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.run = run
        if run.product.is_unlabelled:
            del self.fields["without_labels"]
        self.fields["target"].initial = run.target_id
        self.fields["pieces_filled"].initial = run.pieces_planned
        if run.status == BottlingRun.Status.REVERSED:
            figures = recorded_figures(run)
            if run.drawn_by != BottlingRun.DrawnBy.SCALE:
                # A dip or an estimate is not to come back as a weight by the scale.
                del figures["drawn"]
            self.initial = {**figures, **self.initial}
        if run.celsius is not None:
            self.fields["celsius"].initial = as_temperature(run.celsius)

    @property
    def uses_dip(self) -> bool:
        """Whether a depth was filled in: the dips then stand in for the weight."""
        names = ("depth_before", "depth_after")
        return self.is_bound and any(self[name].value()[0] for name in names)

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms odd figures is shown."""
        return self.is_bound and bool(
            self.errors.get("figures_are_right") or self["figures_are_right"].value()
        )

    def clean(self) -> dict:
        data = super().clean() or {}
        for name in ("pieces_broken", "loss"):
            if name not in self.errors:
                data[name] = data.get(name) or 0
        dips = [name for name in ("depth_before", "depth_after") if data.get(name) is not None]
        if {"drawn", "depth_before", "depth_after"} & set(self.errors):
            return data
        if data.get("drawn") is not None and dips:
            self.add_error("drawn", _("Enter the weight drawn or the two dips, not both."))
        elif len(dips) == 1:
            missing = "depth_after" if dips == ["depth_before"] else "depth_before"
            self.add_error(
                missing, _("Enter this dip too: the weight is the difference between the two dips.")
            )
        elif dips:
            self._weigh_dips(data)
        return data

    def _weigh_dips(self, data: dict) -> None:
        if "celsius" in self.errors:
            return
        celsius = self.run.celsius if data.get("celsius") is None else data["celsius"]
        if celsius is None:
            self.add_error(
                "celsius",
                _("Enter the temperature: the weight can't be worked out from a dip without it."),
            )
            return
        moment = PostingLine.objects.moment_of_draw(data.get("bottled_on"), self.run.source)
        there = Balance.objects.in_vessel(self.run.source, moment)
        if there is None:
            self.add_error(
                None, _("%(place)s is empty on the books.") % {"place": self.run.source.name}
            )
            return
        try:
            weighed = filling.drawn_between_dips(
                there,
                before_mm=data["depth_before"],
                after_mm=data["depth_after"],
                celsius=celsius,
                mark_mm=ProductionSettings.current().stick_mark_mm,
            )
        except HouseError as error:
            self.refuse(error)
            return
        data["drawn"] = weighed.grams
        data["drawn_uncertainty"] = weighed.uncertainty_grams
        data["drawn_by"] = BottlingRun.DrawnBy.DIP


class RunCancelForm(ActForm):
    reason = forms.CharField(label=_("Why"), max_length=300, required=False)


class FillCheckForm(ActForm):
    fields_of_parameters = {"weights_milligrams": "weights"}

    unit = forms.ChoiceField(
        label=_("Unit of the weights"),
        choices=[("g", _("g")), ("oz", _("oz")), ("lb", _("lb")), ("kg", _("kg"))],
        help_text=_("For weights without a unit of their own."),
    )
    weighed = forms.ChoiceField(
        label=_("The weights are"),
        choices=[("net", _("net: the honey alone")), ("gross", _("gross: the filled piece"))],
        widget=forms.RadioSelect,
    )
    tare = SmallWeightField(
        label=_("Empty weight of one piece, including lid and label"),
        required=False,
        help_text=_("Subtracted from each gross weight. Not used for net weights."),
    )
    weights = forms.CharField(
        label=_("Weights"),
        max_length=WEIGHTS_LENGTH_MAX,
        error_messages={
            "required": _("Type or paste the weights."),
            "max_length": _("That is too much. Weigh 1,000 pieces at most."),
        },
        help_text=lazy(_weights_help, str)(),
        widget=forms.Textarea(
            attrs={
                "rows": 8,
                "autocomplete": "off",
                "spellcheck": "false",
                "data-typed": "weights",
            }
        ),
    )
    continues = forms.BooleanField(required=False, initial=True)
    scheme = forms.ChoiceField(label=_("Rule"), choices=FillCheck.Scheme)
    checked_on = DayField(label=_("Day"), initial=timezone.localdate)
    weights_are_right = forms.BooleanField(label=_("Yes, the weights are right"), required=False)

    def __init__(
        self, *args, run: BottlingRun, open_sample: FillCheck | None = None, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.run, self.open_sample = run, open_sample
        if run.status == BottlingRun.Status.PLANNED:
            # Pieces that set the nozzle are judged by no rule.
            del self.fields["scheme"]
        if open_sample is None:
            del self.fields["continues"]
        else:
            count = len(open_sample.weights.all())
            self.fields["continues"].label = ngettext(
                "Add these to the %(count)s piece weighed before",
                "Add these to the %(count)s pieces weighed before",
                count,
            ) % {"count": count}

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms odd weights is shown."""
        return self.is_bound and bool(
            self.errors.get("weights_are_right") or self["weights_are_right"].value()
        )

    def clean_weights(self) -> list[Decimal]:
        """Return the grams typed; name each entry that can't be read."""
        sign = decimal_sign()
        weights, errors = [], []
        found = typed.entries(self.cleaned_data["weights"], kind="weight", decimal_sign=sign)
        for number, entry in enumerate(found, start=1):
            try:
                weight = typed.read_quantity(
                    entry,
                    kind="weight",
                    unit=self.cleaned_data.get("unit", "g"),
                    decimal_sign=sign,
                )
            except typed.Mistyped as mistyped:
                message = _("Weight %(number)s: %(why)s")
                errors.append(ValidationError(message % {"number": number, "why": mistyped}))
            else:
                weights.append(weight.m_as("g"))
        if errors:
            raise ValidationError(errors[:5])
        return weights

    def clean(self) -> dict:
        data = super().clean() or {}
        if self.errors:
            return data
        is_gross = data["weighed"] == "gross"
        if is_gross and not data["tare"]:
            self.add_error(
                "tare", _("Enter the empty weight: it is subtracted from the gross weights.")
            )
            return data
        tare_milligrams = data["tare"] * 1000 if is_gross else 0
        net = []
        for number, grams in enumerate(data["weights"], start=1):
            gross = round(grams * 1000)
            if gross <= tare_milligrams:
                self.add_error(
                    "weights",
                    _(
                        "Weight %(number)s, %(weight)s %(unit)s, is not more than the "
                        "weight of an empty piece. Check it."
                    )
                    % {
                        "number": number,
                        "weight": words.number(round(grams, 1).normalize()),
                        "unit": "g",
                    },
                )
            net.append(gross - tare_milligrams)
        data["tare_milligrams"] = tare_milligrams
        data["weights_milligrams"] = net
        return data


class LotReleaseForm(ActForm):
    reason = forms.CharField(
        label=_("Why it may be sold"),
        max_length=300,
        error_messages={"required": _("Say why the lot may be sold.")},
        help_text=_("For example: topped up by hand and weighed again."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    of_holds = forms.ModelMultipleChoiceField(
        label=_("What is released"),
        queryset=LotHold.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Choose what is to be released.")},
    )

    def __init__(self, *args: Any, holds: list[LotHold], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if len(holds) < 2:
            del self.fields["of_holds"]
            return
        chosen = self.fields["of_holds"]
        assert isinstance(chosen, forms.ModelMultipleChoiceField)
        keys = [hold.pk for hold in holds]
        chosen.queryset = LotHold.objects.filter(pk__in=keys)
        chosen.initial = keys


class PartReceiveForm(ActForm):
    fields_of_parameters = {"cost_cents": "cost"}

    part = forms.ModelChoiceField(
        label=_("Part"), queryset=PackagingPart.objects.filter(is_active=True), empty_label=None
    )
    pieces = PiecesField(label=_("Pieces that came"))
    cost = MoneyField(
        label=_("Total cost"),
        help_text=_("Include freight, so that the cost of a jar is right."),
        error_messages={"required": _("Enter what all of it cost, or 0 if it was free.")},
    )
    supplier = SupplierNameField(label=_("Supplier"), required=False)
    place = forms.ModelChoiceField(label=_("Put on"), queryset=stores(), empty_label=None)
    received_on = DayField(label=_("Day"), initial=timezone.localdate)


class PartForm(ActForm):
    name = forms.CharField(
        label=_("Name"), max_length=80, error_messages={"required": _("Enter a name.")}
    )
    kind = forms.ChoiceField(label=_("Kind"), choices=PackagingPart.Kind)
    reorder_point = PiecesField(label=_("Order more when fewer than"), initial=0)
    lead_time_days = WholeNumberField(
        label=_("Days until ordered ones arrive"),
        required=False,
        min_value=0,
        help_text=_("For the day by which the season plan says to order. Leave empty if unknown."),
    )
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)


class PartQuoteForm(ActForm):
    """What a supplier asks for one of a part."""

    unit_price = NumberField(
        label=_("Quoted price of one"),
        required=False,
        min_value=0,
        max_digits=12,
        decimal_places=4,
        help_text=_("With freight. Leave it empty to use the price that was paid last."),
    )
    quoted_on = DayField(label=_("Quoted on"), required=False, initial=timezone.localdate)


class PartUseForm(HouseForm):
    """One line of what a size is made up from."""

    part = forms.ModelChoiceField(
        label=_("Part"), queryset=PackagingPart.objects.all(), required=False, empty_label="–"
    )
    quantity = PiecesField(label=_("How many"), required=False, min_value=1, max_value=1000)
    per_pieces = PiecesField(
        label=_("For how many pieces"), required=False, min_value=1, max_value=1000
    )

    def __init__(self, *args, parts=None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if parts is not None:
            # Read once for all the lines.
            cast(forms.ModelChoiceField, self.fields["part"]).choices = parts


class SizeForm(ActForm):
    """A size with the lines of its parts below; what is wrong with those is told above all."""

    fields_of_parameters = {
        "declared_amount": "declared",
        "declared_unit": "declared",
        "brimful_ml": "brimful",
        "tare_grams": "tare",
    }

    name = forms.CharField(
        label=_("Name"), max_length=60, error_messages={"required": _("Enter a name.")}
    )
    declared = DeclaredWeightField(label=_("Net weight on the label"))
    brimful = BrimfulField(
        label=_("Capacity filled to the brim"),
        help_text=_(
            "Weigh one full of water: a gram of water is a millilitre. For comb honey, enter what "
            "its box would hold; comb is not checked against it."
        ),
    )
    tare = SmallWeightField(
        label=_("Empty weight, with lid and label"),
        required=False,
    )
    pieces_per_case = PiecesField(label=_("Pieces in a case"), initial=12)
    gtin = forms.CharField(
        label=_("GTIN (bar code number)"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    best_by_months = PiecesField(label=_("Best by: months after the run"), initial=24)
    low_stock_pieces = PiecesField(label=_("Show as low when fewer than"), initial=0)

    PART_LINES_SPARE = 3

    def __init__(self, *args, size: Size | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        uses = list(size.size_parts.order_by("id")) if size else []
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
        if size and not self.is_bound:
            self.initial.update(initial_of(size))

    def lists(self) -> list[Any]:
        return [self.part_lines]

    def is_valid(self) -> bool:
        # Both are asked, so that every problem is told at once.
        own, lines = super().is_valid(), self.part_lines.is_valid()
        return own and lines


class ProductionForm(ActForm):
    fields_of_parameters = {
        "labour_cents_per_hour": "labour",
        "honey_house_celsius": "celsius",
        "moisture_limit_percent": "moisture_limit",
        "named_source_percent": "named_source",
        "warming_limit_celsius": "warming_limit",
        "stick_mark_mm": "stick_mark",
    }

    lot_code_pattern = forms.CharField(
        label=_("Pattern of lot codes"),
        max_length=30,
        help_text=_(
            "{yyyy} or {yy} is the year, {ddd} the day of the year, {mm} and {dd} month and day, "
            "{n} the number of the run on that day. Without {n}, all sizes filled on a day get "
            "one code."
        ),
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )
    labour = MoneyField(
        label=_("What an hour of work costs"),
        help_text=_("Wages plus the taxes and other costs you pay on top of them."),
    )
    celsius = TemperatureField(
        label=_("Usual filling temperature"),
        help_text=_("New runs start with this temperature. You can change it for each run."),
    )
    setting_days = WholeNumberField(
        label=_("Days until creamed honey is ready"),
        help_text=_("7 to 14 are common, at about 57 °F (14 °C)."),
    )
    moisture_limit = NumberField(
        label=_("Moisture limit, percent"),
        max_digits=4,
        decimal_places=2,
        required=False,
        help_text=_(
            "Honey above it is not bottled, planned or sold in drums unless you tick that it is. "
            "U.S. Grade A is up to 18.6 percent."
        ),
    )
    named_source = NumberField(
        label=_("Least share of a source that is named, percent"),
        max_digits=3,
        decimal_places=1,
        required=False,
        help_text=_("What was left in a tank from an earlier lot does not rename a blend."),
    )
    warming_limit = TemperatureField(
        label=_("Warmest that honey may get"),
        help_text=_(
            "Common practice is about 100 °F (38 °C): heat darkens honey and raises its HMF. A "
            "warmer entry in the warming log has to be confirmed."
        ),
    )
    stick_mark = StickMarkField(
        label=_("Finest mark of the dip stick"),
        help_text=_(
            "The distance between two marks, such as 1/8 in. A dip is right to half of it: in a "
            "wide tank that is several pounds, and every dip says how many."
        ),
    )
    cost_method = forms.ChoiceField(
        label=_("Cost of what is sold"),
        choices=ProductionSettings.CostMethod,
        help_text=_(
            "First in, first out: a jar has the cost of its own lot, and the oldest lot is "
            "sold first. Weighted average: a jar has the average cost of all jars of its "
            "product in stock when it is sold. Honey in drums has the cost of its lot. Choose "
            "with your accountant before the first sale. After the first sale you can't "
            "change it."
        ),
    )


def initial_of(size: Size) -> dict:
    """Return what the form of a size shows first."""
    return {
        "name": size.name,
        "declared": [_plain(size.declared_amount), size.declared_unit],
        "brimful": [_plain(size.brimful_ml), "mL"],
        "tare": [size.tare_grams, "g"],
        "pieces_per_case": size.pieces_per_case,
        "gtin": size.standard_product.gtin,
        "best_by_months": size.best_by_months,
        "low_stock_pieces": size.standard_product.low_stock_pieces,
    }


def _plain(number: Decimal) -> Decimal:
    return Decimal(f"{number.normalize():f}")

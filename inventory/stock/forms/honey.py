"""Forms of the acts with bulk honey that is in a vessel already."""

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    ActDayField,
    DayField,
    LengthField,
    TemperatureField,
    VolumeField,
    WeightField,
    offer_the_same,
)
from inventory.stock.forms.fields import (
    VesselField,
    is_asked,
    may_be_fed_field,
    note_field,
    usual_temperature,
)
from inventory.stock.models import Place, Posting
from inventory.stock.services import drums

TARE_HELP = _(
    "The weight of the empty drum. If you leave this out, the weight recorded for "
    "this drum is used."
)


class HoneyForm(ActForm):
    """An act with honey.

    `one_of_several` names fields of which one is wanted: none of them is simply optional.
    """

    one_of_several: tuple[str, ...] = ()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for name in self.one_of_several:
            # What the label's template asks for; Django's class does not declare it.
            self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]


class AllOrSomeForm(HoneyForm):
    """An act with a given weight or with all honey; an empty weight alone is refused."""

    fields_of_parameters = {"grams": "weight"}
    one_of_several: tuple[str, ...] = ("weight",)

    everything = forms.BooleanField(label=_("All that is in it"), required=False)
    weight = WeightField(label=_("Weight"), required=False)

    def clean(self) -> dict:
        data = super().clean() or {}
        if data.get("everything"):
            data["weight"] = None
        elif data.get("weight") is None and "weight" not in self.errors:
            self.add_error("weight", _("Enter the weight, or tick “All that is in it”."))
        return data


class TransferForm(AllOrSomeForm):
    """Some of a vessel, or all of it, into another."""

    source = VesselField(label=_("From"), filled=True, of_any_day=True)
    target = VesselField(label=_("Into"))
    poured_on = ActDayField()
    note = note_field()


class DrainForm(HoneyForm):
    """A vessel emptied into another."""

    fields_of_parameters = {"drum": "source"}

    source = VesselField(label=_("Vessel to empty"), filled=True, of_any_day=True)
    target = VesselField(label=_("Into"))
    drained_on = ActDayField()
    note = note_field()


class BlendForm(HoneyForm):
    """Several vessels into one; each line is a vessel and its weight, or all of it."""

    fields_of_parameters = {"sources": "target"}
    LINES = range(1, 7)
    REQUIRED_LINES = 2

    target = VesselField(label=_("Blend into"))
    poured_on = ActDayField()
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for number in self.LINES:
            self.fields[f"source_{number}"] = VesselField(
                label=_("From"),
                filled=True,
                of_any_day=True,
                required=number <= self.REQUIRED_LINES,
            )
            self.fields[f"weight_{number}"] = WeightField(
                label=_("Weight"), required=False, help_text=_("Leave empty to take all of it.")
            )
        offer_the_same(self.fields[f"source_{number}"] for number in self.LINES)

    def lines(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"source_{number}"], self[f"weight_{number}"]) for number in self.LINES]

    def more_lines_used(self) -> bool:
        """Tell whether a line beyond those always shown is filled."""
        return any(source.value() for source, _weight in self.lines()[self.REQUIRED_LINES :])

    def clean(self) -> dict:
        data = super().clean() or {}
        filled = [number for number in self.LINES if data.get(f"source_{number}")]
        for number in self.LINES:
            if data.get(f"weight_{number}") is not None and number not in filled:
                name = f"source_{number}"
                if name not in self.errors:
                    self.add_error(name, _("Choose the vessel this weight comes from."))
        data["sources"] = [
            (data[f"source_{number}"], data.get(f"weight_{number}")) for number in filled
        ]
        self._filled = filled
        return data

    def field_of(self, parameter: str | None) -> str | None:
        # The service counts the lines that are filled; the form may have empty ones between.
        match (parameter or "").split("."):
            case ["sources", index, "place"]:
                return f"source_{self._filled[int(index)]}"
            case ["sources", index, "grams"]:
                return f"weight_{self._filled[int(index)]}"
        return super().field_of(parameter)


class DrumFillForm(HoneyForm):
    """A drum on the scale: gross, less tare, is what went in; or its volume, or its depth."""

    class MeasuredBy:
        SCALE, VOLUME, DEPTH = "scale", "volume", "depth"
        choices = [
            (SCALE, _("on a scale")),
            (VOLUME, _("by volume")),
            (DEPTH, _("by the depth in the drum")),
        ]

    fields_of_parameters = {
        "gross_grams": "gross",
        "tare_grams": "tare",
        "litres": "volume",
        "depth_mm": "depth",
    }
    one_of_several = ("measured_by", "gross", "volume", "depth", "celsius")

    tank = VesselField(label=_("From"), filled=True, of_any_day=True)
    drum = VesselField(label=_("Drum"), kinds=[Place.Kind.DRUM])
    measured_by = forms.ChoiceField(
        label=_("How it was measured"),
        choices=MeasuredBy.choices,
        initial=MeasuredBy.SCALE,
        required=False,
        widget=forms.RadioSelect,
    )
    gross = WeightField(
        label=_("Gross weight"),
        required=False,
        help_text=_("The weight of the full drum on the scale."),
    )
    tare = WeightField(label=_("Tare"), required=False, help_text=TARE_HELP)
    volume = VolumeField(
        label=_("Volume"), required=False, help_text=_("What was filled in, by the meter.")
    )
    depth = LengthField(
        label=_("Depth of the honey"),
        required=False,
        help_text=_("From the bottom of the drum to the surface, with all that is in it."),
    )
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    filled_on = ActDayField()
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["celsius"].initial = usual_temperature()

    def clean(self) -> dict:
        """Add `drum_measured`, the figures of the way that was chosen; None without its figure."""
        data = super().clean() or {}
        by = data.get("measured_by") or self.MeasuredBy.SCALE
        name, missing = {
            self.MeasuredBy.SCALE: ("gross", _("Enter a figure.")),
            self.MeasuredBy.VOLUME: ("volume", _("Enter the volume.")),
            self.MeasuredBy.DEPTH: ("depth", _("Enter the depth of the honey.")),
        }[by]
        data["drum_measured"] = None
        if data.get(name) is None:
            if name not in self.errors:
                self.add_error(name, missing)
            return data
        is_weighed = by == self.MeasuredBy.SCALE
        data["drum_measured"] = drums.DrumMeasured(
            gross_grams=data["gross"] if is_weighed else None,
            tare_grams=data.get("tare") if is_weighed else None,
            litres=data["volume"] if by == self.MeasuredBy.VOLUME else None,
            depth_mm=data["depth"] if by == self.MeasuredBy.DEPTH else None,
            celsius=None if is_weighed else data.get("celsius"),
        )
        return data


class WeighAgainForm(ActForm):
    """A drum on the scale once more."""

    fields_of_parameters = {"gross_grams": "gross", "tare_grams": "tare"}

    gross = WeightField(
        label=_("Gross weight"), help_text=_("The weight of the full drum on the scale.")
    )
    tare = WeightField(label=_("Tare"), required=False, help_text=TARE_HELP)
    weighed_on = DayField(label=_("Weighed on"))
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["weighed_on"].initial = timezone.localdate()


class WriteOffForm(AllOrSomeForm):
    """Honey that is gone, with the reason; honey that others harvested is fed only if confirmed."""

    REASONS = [
        (Posting.Kind.SKIMMING, _("skimmings")),
        (Posting.Kind.SPILL, _("spilled")),
        (Posting.Kind.SPOILAGE, _("spoiled")),
        (Posting.Kind.SAMPLE, _("sample for a laboratory")),
        (Posting.Kind.FEEDING, _("fed back to bees")),
        (Posting.Kind.OWN_USE, _("own use")),
        (Posting.Kind.GIFT, _("given away")),
    ]

    place = VesselField(label=_("From"), filled=True, of_any_day=True)
    reason = forms.ChoiceField(
        label=_("Why"),
        choices=REASONS,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose why.")},
    )
    written_off_on = ActDayField()
    may_be_fed = may_be_fed_field()
    note = forms.CharField(label=_("What happened"), max_length=200, required=False)

    @property
    def asks_about_feeding(self) -> bool:
        """Whether the box that confirms the feeding is shown."""
        return is_asked(self, "may_be_fed")

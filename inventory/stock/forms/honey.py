"""Forms of the acts with bulk honey, and of the places it is in."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.physics.units import GALLON_LITRES, POUND_GRAMS
from inventory.shared import words
from inventory.shared.errors import BadValue, HouseError, Problems
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.days import DaysForm
from inventory.shared.forms.fields import (
    CodeChoiceField,
    FigureField,
    LengthField,
    MoneyField,
    TemperatureField,
    VolumeField,
    WeightField,
    WholeNumberField,
    date_field,
    plain_number,
)
from inventory.stock import density, vessels
from inventory.stock.models import Balance, Lot, Place, Posting, ProductionSettings, TankShape
from inventory.stock.queries import honey as honey_queries
from inventory.stock.services import honey, lots, places
from inventory.stock.services.places import Shape


def usual_temperature() -> tuple[Decimal, str]:
    """Return the usual temperature of the honey house in °F, as a form's initial value."""
    celsius = ProductionSettings.current().honey_house_celsius
    return round(Decimal(celsius) * 9 / 5 + 32), "F"


def as_pounds(grams: int) -> tuple[Decimal, str]:
    """Return grams as pounds for a form; three decimals come back as the same gram."""
    return plain(Decimal(grams) / POUND_GRAMS, 3), "lb"


def as_inches(mm: int) -> tuple[Decimal, str]:
    """Return millimetres as inches for a form; two decimals come back as the same millimetre."""
    return plain(Decimal(mm) / LengthField.MILLIMETRES["in"], 2), "in"


def as_gallons(litres: Decimal) -> tuple[Decimal, str]:
    """Return litres as gallons for a form; four decimals come back as the same millilitre."""
    return plain(litres / GALLON_LITRES, 4), "gal"


def plain(number: Decimal, places: int) -> Decimal:
    """Round a number and drop the zeros it ends in, without powers of ten."""
    return Decimal(f"{round(number, places).normalize():f}")


def note_field() -> forms.CharField:
    return forms.CharField(label=_("Note"), max_length=200, required=False)


class VesselField(CodeChoiceField):
    """A vessel in use, chosen by its short name and shown with what is in it."""

    def __init__(
        self, *, kinds: Iterable[str] = Place.VESSELS, filled: bool = False, **kwargs
    ) -> None:
        gone = (
            _("That vessel holds no honey now. Choose one from the list.")
            if filled
            else _("There is no such vessel in use. Choose one from the list.")
        )
        super().__init__(
            queryset=Place.objects.none(),
            empty_label=_("Choose a vessel"),
            error_messages={"required": _("Choose a vessel."), "invalid_choice": gone},
            **kwargs,
        )
        self.kinds, self.filled = tuple(kinds), filled

    def offered(self) -> QuerySet[Place]:
        found = honey_queries.vessel_places().filter(kind__in=self.kinds)
        if self.filled:
            found = found.filter(balances__quantity__gt=0, balances__item__kind="honey").distinct()
        return found

    def label_from_instance(self, place: Place) -> str:
        if not place.contents:
            return _("%(place)s: empty") % {"place": place.name}
        there = place.contents[0]
        return _("%(place)s: %(there)s, lot %(lot)s") % {
            "place": place.name,
            "there": words.pounds(there.quantity),
            "lot": there.lot.code,
        }


class HoneyForm(ActForm):
    """An act with honey; `shown_at` says which field a service's field is, where they differ.

    `one_of_several` names fields of which one is wanted: none of them is simply optional.
    """

    shown_at: dict[str, str] = {}
    one_of_several: tuple[str, ...] = ()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for name in self.one_of_several:
            self.fields[name].is_one_of_several = True
        self.offer_vessels()

    def offer_vessels(self) -> None:
        """Fill the lists of vessels; not done when the module is read, before any table is."""
        for form_field in self.fields.values():
            if isinstance(form_field, VesselField):
                form_field.queryset = form_field.offered()

    def refuse(self, error: HouseError) -> None:
        for problem in error.problems:
            problem.parameter = self.shown_at.get(problem.parameter, problem.parameter)
        super().refuse(error)


@dataclass(frozen=True)
class Measured:
    """Honey weighed, and the sentence that says how; `uncertainty_grams` is 0 by a scale."""

    grams: int
    uncertainty_grams: int
    litres: Decimal
    how: str


class ReceiveForm(HoneyForm):
    """An extraction: what the honey is, and how much, by scale, by volume or by dip."""

    class MeasuredBy:
        SCALE, VOLUME, DIP = "scale", "volume", "dip"
        choices = [
            (SCALE, _("on a scale")),
            (VOLUME, _("by volume")),
            (DIP, _("by dipping the tank")),
        ]

    shown_at = {"moisture_percent": "moisture", "cost_cents": "cost"}
    one_of_several = ("moisture", "refractive_index", "weight", "volume", "depth", "honey_celsius")

    place = VesselField(label=_("Into"))
    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        help_text=_("For example clover, or wildflower."),
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    yard = forms.CharField(label=_("Yard or area"), max_length=120, required=False)
    season = WholeNumberField(label=_("Season"))
    extracted_on = date_field(_("Extracted on"))
    moisture = FigureField(
        label=_("Moisture, percent"),
        max_digits=5,
        decimal_places=2,
        required=False,
    )
    refractive_index = FigureField(
        label=_("Refractometer index"),
        max_digits=6,
        decimal_places=5,
        required=False,
        help_text=_("Instead of percent, for example 1.4930."),
    )
    refractometer_celsius = TemperatureField(
        label=_("Temperature of that reading"),
        required=False,
        help_text=_("Left empty, it counts as 68 °F (20 °C)."),
    )
    colour_mm = FigureField(
        label=_("Colour, mm Pfund"),
        max_digits=5,
        decimal_places=1,
        required=False,
    )
    measured_by = forms.ChoiceField(
        label=_("How much, measured"),
        choices=MeasuredBy.choices,
        initial=MeasuredBy.SCALE,
        widget=forms.RadioSelect,
    )
    weight = WeightField(label=_("Weight on the scale"), required=False)
    volume = VolumeField(label=_("Volume"), required=False)
    depth = LengthField(label=_("Dip after"), required=False)
    depth_before = LengthField(
        label=_("Dip before"),
        required=False,
        help_text=_("Only when the tank was not empty."),
    )
    honey_celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    cost = MoneyField(
        label=_("What it cost"),
        required=False,
        help_text=_("All of it together, for margins. Can be left open."),
    )
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        today = timezone.localdate()
        self.fields["season"].initial = str(today.year)
        self.fields["extracted_on"].initial = today
        self.fields["honey_celsius"].initial = usual_temperature()

    def clean(self) -> dict:
        """Add `moisture_known`, in percent, and `measured`, the weight however it was found."""
        data = super().clean()
        for name, find in (("moisture_known", self._moisture), ("measured", self._measured)):
            try:
                data[name] = find(data)
            except HouseError as error:
                data[name] = None
                self.refuse(error)
        return data

    def _moisture(self, data: dict) -> Decimal | None:
        moisture, index = data.get("moisture"), data.get("refractive_index")
        if "moisture" in self.errors or (moisture is None and "refractive_index" in self.errors):
            return None
        if moisture is None and index is not None:
            moisture = lots.moisture_from_index(index, data.get("refractometer_celsius"))
        problems = Problems()
        honey.check_moisture(problems, moisture)
        problems.raise_any()
        return moisture

    def _measured(self, data: dict) -> Measured | None:
        """Return the weight that was measured; raises the error of the field that is missing."""
        by = data.get("measured_by")
        if by == self.MeasuredBy.SCALE:
            return self._weighed(data)
        if by == self.MeasuredBy.VOLUME:
            if data.get("volume") is None:
                self._miss("volume", _("Enter the volume."))
                return None
            return self._by_density(data, data["volume"])
        if by == self.MeasuredBy.DIP and data.get("place"):
            litres = self._dipped_litres(data)
            return None if litres is None else self._by_density(data, litres)
        return None

    def _weighed(self, data: dict) -> Measured | None:
        if data.get("weight") is None:
            self._miss("weight", _("Enter the weight."))
            return None
        if data["moisture_known"] is None:
            return None
        litres = density.litres_of(data["weight"], moisture_percent=data["moisture_known"])
        return Measured(data["weight"], 0, litres, "")

    def _dipped_litres(self, data: dict) -> Decimal | None:
        place, depth_mm, before_mm = data["place"], data.get("depth"), data.get("depth_before")
        if depth_mm is None:
            self._miss("depth", _("Enter how deep the honey stands."))
            return None
        after = vessels.litres_at(place, depth_mm, parameter="depth")
        there = Balance.objects.in_vessel(place)
        if before_mm is None and there:
            raise BadValue(
                _(
                    "%(place)s held %(there)s already. Enter the dip before as well, "
                    "so that only the new honey counts."
                )
                % {"place": place.name, "there": words.pounds(there.quantity)},
                parameter="depth_before",
            )
        if not before_mm:
            return after
        before = vessels.litres_at(place, before_mm, parameter="depth_before")
        if before >= after:
            raise BadValue(
                _("The dip after, %(after)s, is no deeper than the one before, %(before)s.")
                % {"after": words.depth(depth_mm), "before": words.depth(before_mm)},
                parameter="depth",
            )
        return after - before

    def _by_density(self, data: dict, litres: Decimal) -> Measured | None:
        moisture, celsius = data["moisture_known"], data.get("honey_celsius")
        if celsius is None:
            self._miss("honey_celsius", _("Enter the temperature: the weight depends on it."))
        if moisture is None or celsius is None:
            return None
        try:
            weighed = density.grams_of(litres, moisture_percent=moisture, celsius=celsius)
        except ValueError as error:
            raise BadValue(str(error), parameter="honey_celsius") from error
        how = _(
            "%(gallons)s (%(litres)s L) weighed by density at %(moisture)s %% moisture, "
            "%(temperature)s; give or take %(uncertainty)s."
        ) % {
            "gallons": words.gallons(litres),
            "litres": litres.quantize(Decimal("0.1")),
            "moisture": plain(moisture, 2),
            "temperature": words.temperature(celsius),
            "uncertainty": words.pounds(weighed.uncertainty_grams),
        }
        return Measured(weighed.grams, weighed.uncertainty_grams, litres, how)

    def _miss(self, name: str, message) -> None:
        if name not in self.errors:
            self.add_error(name, message)


class AllOrSomeForm(HoneyForm):
    """An act with some honey of a vessel, or with all of it: an empty weight alone says neither."""

    one_of_several = ("weight",)

    everything = forms.BooleanField(label=_("All that is in it"), required=False)
    weight = WeightField(label=_("Weight"), required=False)

    def clean(self) -> dict:
        data = super().clean()
        if data.get("everything"):
            data["weight"] = None
        elif data.get("weight") is None and "weight" not in self.errors:
            self.add_error("weight", _("Enter the weight, or tick that it is all."))
        return data


class TransferForm(AllOrSomeForm):
    """Some of a vessel, or all of it, into another."""

    source = VesselField(label=_("From"), filled=True)
    target = VesselField(label=_("Into"))
    note = note_field()


class DrainForm(HoneyForm):
    """A vessel emptied into another."""

    shown_at = {"weight": "target"}

    source = VesselField(label=_("Vessel to empty"), filled=True)
    target = VesselField(label=_("Into"))
    note = note_field()


class BlendForm(HoneyForm):
    """Several vessels into one; each line is a vessel and its weight, or all of it."""

    LINES = range(1, 7)
    REQUIRED_LINES = 2

    target = VesselField(label=_("Blend into"))
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for number in self.LINES:
            self.fields[f"source_{number}"] = VesselField(
                label=_("From"), filled=True, required=number <= self.REQUIRED_LINES
            )
            self.fields[f"weight_{number}"] = WeightField(
                label=_("Weight"), required=False, help_text=_("Left empty, all of it.")
            )
        self.offer_vessels()

    def lines(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"source_{number}"], self[f"weight_{number}"]) for number in self.LINES]

    def more_lines_used(self) -> bool:
        """Tell whether a line beyond those always shown is filled."""
        return any(source.value() for source, _weight in self.lines()[self.REQUIRED_LINES :])

    def clean(self) -> dict:
        data = super().clean()
        filled = [number for number in self.LINES if data.get(f"source_{number}")]
        for number in self.LINES:
            if data.get(f"weight_{number}") is not None and number not in filled:
                name = f"source_{number}"
                if name not in self.errors:
                    self.add_error(name, _("Choose the vessel this weight comes from."))
        data["sources"] = [
            (data[f"source_{number}"], data.get(f"weight_{number}")) for number in filled
        ]
        # The service counts the lines that are filled; the form may have empty ones between.
        self.shown_at = {"weight": "target"} | {
            f"{name}_{nth}": f"{name}_{number}"
            for nth, number in enumerate(filled, start=1)
            for name in ("source", "weight")
        }
        return data


class DrumFillForm(HoneyForm):
    """A drum on the scale: gross, less tare, is what went in."""

    shown_at = {"weight": "gross", "target": "drum", "source": "tank"}

    tank = VesselField(label=_("From"), filled=True)
    drum = VesselField(label=_("Drum"), kinds=[Place.Kind.DRUM])
    gross = WeightField(
        label=_("Gross weight"), help_text=_("The full drum as it stands on the scale.")
    )
    tare = WeightField(
        label=_("Tare"),
        required=False,
        help_text=_("The empty drum. Left empty, the weight written down for this drum counts."),
    )
    note = note_field()


class WriteOffForm(AllOrSomeForm):
    """Honey that spoiled, was used at home, or was given away."""

    REASONS = [
        (Posting.Kind.SPOILAGE, _("spoiled")),
        (Posting.Kind.OWN_USE, _("own use")),
        (Posting.Kind.GIFT, _("given away")),
    ]

    place = VesselField(label=_("From"), filled=True)
    reason = forms.ChoiceField(
        label=_("Why"),
        choices=REASONS,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose why.")},
    )
    note = forms.CharField(label=_("What happened"), max_length=200, required=False)


class DipForm(HoneyForm):
    """A dip stick's depth and the honey's temperature."""

    depth = LengthField(
        label=_("Depth of the honey"),
        help_text=_("Straight up from the lowest point inside to the surface."),
    )
    celsius = TemperatureField(label=_("Temperature of the honey"))
    note = note_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["celsius"].initial = usual_temperature()


class AcceptDipForm(HoneyForm):
    """Why the books should follow the dip."""

    reason = forms.CharField(
        label=_("Reason"),
        max_length=200,
        help_text=_("For example: foam skimmed off, or scale read wrong on Tuesday."),
        error_messages={"required": _("Say why the books should follow the dip.")},
    )


class UndoForm(HoneyForm):
    note = forms.CharField(label=_("Why"), max_length=200, required=False)


class PostingFilterForm(DaysForm):
    """What the list of postings is narrowed to."""

    field_order = ["kind", "place", "lot", "first", "last"]

    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Posting.Kind.choices]
    )
    place = forms.ModelChoiceField(
        label=_("Place"),
        required=False,
        queryset=Place.objects.order_by("kind", "code"),
        to_field_name="code",
        empty_label=_("all"),
    )
    lot = forms.ModelChoiceField(
        label=_("Lot"),
        required=False,
        queryset=Lot.objects.all(),
        to_field_name="code",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        error_messages={"invalid_choice": _("There is no lot of this code.")},
    )


class LotFilterForm(HouseForm):
    """What the list of lots is narrowed to."""

    words = forms.CharField(label=_("Code, flower or yard"), required=False, widget=forms.TextInput)
    season = forms.TypedChoiceField(label=_("Season"), required=False, coerce=int, empty_value=None)
    in_hand = forms.BooleanField(label=_("Only what is in hand"), required=False)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["season"].choices = [
            ("", _("all")),
            *((year, str(year)) for year in honey_queries.seasons()),
        ]


NO_SPACES = _("Use letters, figures and hyphens only, without spaces, for example tank-2.")


class PointsField(forms.CharField):
    """A calibration table typed line by line, "depth, litres"; comes out as pairs of mm and L.

    The depth is in the unit chosen beside the table, which `unit` holds when `clean` runs.
    """

    unit = "cm"

    def __init__(self, **kwargs) -> None:
        super().__init__(
            widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
            strip=True,
            **kwargs,
        )

    def to_python(self, value):
        return [
            self._point(number, line)
            for number, line in enumerate(super().to_python(value).splitlines(), start=1)
            if line.strip()
        ]

    def _point(self, number: int, line: str) -> tuple[int, Decimal]:
        # Where a comma marks decimals or thousands, a semicolon or a tab stands between the two.
        between = next((mark for mark in ";\t" if mark in line), ",")
        try:
            depth, litres = (Decimal(plain_number(part)) for part in line.split(between))
        except (ValueError, InvalidOperation, ValidationError):
            depth = litres = Decimal("NaN")
        if not (depth.is_finite() and litres.is_finite()):
            raise self._wrong(
                number,
                _("Line %(number)s: write a depth, a comma, and litres, for example 10, 125.5."),
            )
        if depth < 0 or litres < 0:
            raise self._wrong(number, _("Line %(number)s: a depth and litres are nothing or more."))
        depth_mm = depth * LengthField.MILLIMETRES[self.unit]
        if depth_mm > places.MEASURE_MM_MAX or litres > places.CAPACITY_LITRES_MAX:
            raise self._wrong(
                number, _("Line %(number)s: no tank is so deep or so large. Check the figures.")
            )
        return round(depth_mm), litres.quantize(Decimal("0.001"))

    @staticmethod
    def _wrong(number: int, message) -> ValidationError:
        return ValidationError(message, code="line", params={"number": number})


class PlaceForm(HouseForm):
    """A place as it is known: its name, its tare and capacity, and a vessel's shape."""

    name = forms.CharField(label=_("Name"), max_length=80)
    tare = WeightField(label=_("Tare"), required=False, help_text=_("The empty vessel."))
    form = forms.ChoiceField(
        label=_("Shape"),
        required=False,
        choices=[("", _("not measured")), *TankShape.Form.choices],
        help_text=_("With a shape, a dip becomes a weight and the capacity is worked out."),
    )
    diameter = LengthField(label=_("Inside diameter"), required=False)
    length = LengthField(
        label=_("Straight wall"),
        required=False,
        help_text=_("Its height in an upright tank, its length in a lying one."),
    )
    end = forms.ChoiceField(
        label=_("Bottom, or both ends of a lying tank"),
        choices=TankShape.End.choices,
        required=False,
        initial=TankShape.End.FLAT,
    )
    cone = LengthField(
        label=_("Depth of the cone"), required=False, help_text=_("Only for a cone.")
    )
    points_unit = forms.ChoiceField(
        label=_("Depths are in"), choices=LengthField.units, required=False
    )
    points = PointsField(
        label=_("Calibration table"),
        required=False,
        help_text=_("One line for each measured depth: the depth, a comma, the litres."),
    )
    capacity = VolumeField(
        label=_("Capacity"), required=False, help_text=_("Only where there is no shape.")
    )
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    shown_at = {
        "tare_grams": "tare",
        "capacity_litres": "capacity",
        "diameter_mm": "diameter",
        "length_mm": "length",
        "cone_mm": "cone",
    }
    BY_SHAPE = ("diameter", "length", "end", "points_unit", "points")
    VESSEL_FIELDS = (
        "tare form diameter length end cone points_unit points capacity".split()  # noqa: SIM905
    )

    def __init__(self, *args, has_shape: bool = True, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if not has_shape:
            for name in self.VESSEL_FIELDS:
                del self.fields[name]
        else:
            for name in self.BY_SHAPE:
                self.fields[name].is_one_of_several = True
            unit = self["points_unit"].value()
            # A unit that is none is told at its own field; the table is read all the same.
            self.fields["points"].unit = unit if unit in LengthField.MILLIMETRES else "in"

    def refuse(self, error: HouseError) -> None:
        for problem in error.problems:
            field = self.shown_at.get(problem.parameter, problem.parameter)
            self.add_error(field if field in self.fields else None, problem.message)

    def shape(self) -> Shape | None:
        """Return the shape that was typed, or None where "not measured" was chosen."""
        data = self.cleaned_data
        if not data.get("form"):
            return None
        return Shape(
            form=data["form"],
            diameter_mm=data["diameter"],
            length_mm=data["length"],
            end=data["end"] or TankShape.End.FLAT,
            cone_mm=data["cone"],
            points=tuple(data["points"]),
        )

    def figures(self) -> dict:
        """Return what the service asks for, in its words."""
        data = self.cleaned_data
        return {
            "name": data["name"],
            "tare_grams": data.get("tare"),
            "capacity_litres": data.get("capacity"),
            "shape": self.shape(),
            "note": data["note"],
        }


class NewPlaceForm(PlaceForm):
    """A new place of any kind."""

    KINDS = [
        (kind.value, kind.label) for kind in Place.Kind if kind in (*Place.VESSELS, *Place.STORES)
    ]

    kind = forms.ChoiceField(label=_("Kind"), choices=KINDS)
    code = forms.SlugField(
        label=_("Number or short name"),
        max_length=30,
        help_text=_("Letters, figures and hyphens, for example tank-2. It stays as it is."),
        error_messages={"invalid": NO_SPACES},
    )
    field_order = ["kind", "code", "name"]


class DrumsForm(HouseForm):
    """Several drums in a row."""

    code = forms.SlugField(
        label=_("First number"),
        max_length=30,
        help_text=_("For example D-001."),
        error_messages={"invalid": NO_SPACES},
    )
    count = WholeNumberField(label=_("How many"), initial=20)
    tare = WeightField(
        label=_("Tare"),
        required=False,
        help_text=_("The empty drum. Each can have its own later, when it is filled."),
    )
    capacity = VolumeField(
        label=_("Capacity to the brim"),
        required=False,
        # ISO 15750-1, from memory: a steel drum sold as 55 gallons holds at least 216.5 L.
        initial=("57.2", "gal"),
        help_text=_("A steel drum sold as 55 gallons holds a little more, 57.2, to the brim."),
    )

    refuse = PlaceForm.refuse
    shown_at = PlaceForm.shown_at

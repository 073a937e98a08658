"""Forms of a count: opening a sheet, entering counts, closing it, and counting a place at once."""

from datetime import date, datetime, time
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    LengthField,
    TemperatureField,
    TimeOfDayField,
    WeightField,
    WholeNumberField,
)
from inventory.stock import own_places
from inventory.stock.forms.amounts import AmountField, amount_of
from inventory.stock.forms.fields import is_asked, note_field, usual_temperature
from inventory.stock.forms.stores import (
    GoodsPlaceField,
    ThingForm,
    surplus_reason_field,
)
from inventory.stock.models import CountLine, CountSheet, Lot, Place
from inventory.stock.queries.count_sheets import SheetRow
from inventory.stock.rules import PIECES_MAX
from inventory.stock.services.count_sheets import SEALED, CountedThing

How = CountLine.How


def moment_of(day: date | None, at: time | None) -> datetime | None:
    """Return the moment that was typed; None for now.

    A past day without a time is the end of it; a time without a day is today.
    """
    if at is None:
        if day is None or day == timezone.localdate():
            return None
        at = time.max
    return timezone.make_aware(datetime.combine(day or timezone.localdate(), at))


def _name_of_year() -> str:
    return gettext("Year end %(year)s") % {"year": timezone.localdate().year}


def _name_of_day() -> str:
    return gettext("Count of %(day)s") % {"day": date_format(timezone.localdate())}


class SheetOpenForm(ActForm):
    """A new sheet for a count of everything, or of one place."""

    place = GoodsPlaceField(label=_("What is counted"), required=False)
    name = forms.CharField(label=_("Name"), max_length=80)
    is_blind = forms.BooleanField(
        label=_("Without the figures of the books"),
        required=False,
        initial=True,
        help_text=_("Who counts then writes what is there, not what should be there."),
    )

    def __init__(self, *args: Any, only_own: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = cast(GoodsPlaceField, self.fields["place"])
        if only_own:
            place.queryset = Place.objects.filter(kind__in=own_places.KINDS, is_active=True)
            place.required = True
        else:
            place.empty_label = gettext("everything")
        self.fields["name"].initial = _name_of_day if only_own else _name_of_year


class CountedForm(ActForm):
    """What was counted at some moment."""

    fields_of_parameters = {"counted_at": "counted_on"}

    counted_on = DayField(label=_("Counted on"), required=False)
    counted_time = TimeOfDayField(
        label=_("At"),
        required=False,
        help_text=_(
            "Leave both empty for now. A past day without a time means: after everything of that "
            "day. What is sold or moved after this moment is no difference."
        ),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["counted_at"] = moment_of(data.get("counted_on"), data.get("counted_time"))
        return data


class ThingsCountForm(ThingForm):
    """A figure for each row of a store, left empty for what is not counted yet, and one found."""

    thing_field = "found"

    found = forms.ChoiceField(label=_("Found, but not listed above"), required=False)
    found_amount = AmountField(label=_("How much of it"), required=False)
    note = note_field()

    def __init__(self, *args: Any, rows: list[SheetRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.rows = rows
        for index, row in enumerate(rows):
            figure = self.fields[f"row_{index}"] = self._figure(row)
            # Some of many: none of them is simply optional, as the label would say.
            figure.is_one_of_several = True  # type: ignore[attr-defined]

    @staticmethod
    def _figure(row: SheetRow) -> forms.Field:
        if row.item.is_weighed:
            return WeightField(label=row.item.name, required=False)
        return WholeNumberField(
            label=row.item.name, required=False, min_value=0, max_value=PIECES_MAX
        )

    def row_fields(self) -> list[tuple[SheetRow, forms.BoundField]]:
        return [(row, self[f"row_{index}"]) for index, row in enumerate(self.rows)]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        self._names: list[str] = []
        counted = []
        for index, row in enumerate(self.rows):
            quantity = data.get(f"row_{index}")
            if quantity is not None:
                self._names.append(f"row_{index}")
                counted.append(CountedThing(row.item, row.lot, quantity))
        found = self.chosen_thing()
        if found:
            item, lot = found
            quantity = amount_of(self, "found_amount", item)
            if quantity is not None:
                self._names.append("found_amount")
                counted.append(CountedThing(item, lot, quantity))
            elif "found_amount" not in self.errors:
                self.add_error("found_amount", gettext("Enter how many."))
        elif data.get("found_amount") is not None and "lot_code" not in self.errors:
            self.add_error("found", gettext("Choose what."))
        data["things"] = counted
        return data

    def field_of(self, parameter: str | None) -> str | None:
        # The service counts the things that were entered; the form has rows left empty between.
        match (parameter or "").split("."):
            case ["things", index, _field]:
                return self._names[int(index)]
        return super().field_of(parameter)


class StoreCountForm(ThingsCountForm, CountedForm):
    """What was counted in a store for a sheet, now or at some moment."""


class CountNowForm(ThingsCountForm):
    """What is in a store now."""

    surplus_reason = surplus_reason_field()

    def __init__(self, *args: Any, may_exceed: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_exceed:
            del self.fields["surplus_reason"]

    @property
    def asks_why(self) -> bool:
        """Whether the field that says why there are more than can be is shown."""
        return "surplus_reason" in self.fields and is_asked(self, "surplus_reason")


class VesselCountForm(CountedForm):
    """One way to count a vessel; which fields it has depends on the way."""

    fields_of_parameters = {
        **CountedForm.fields_of_parameters,
        "grams": "weight",
        "depth_mm": "depth",
        "gross_grams": "gross",
        "tare_grams": "tare",
    }
    FIELDS = {
        How.WEIGHT: ("weight",),
        How.DIP: ("depth", "celsius"),
        How.GROSS: ("gross", "tare"),
        How.SEAL: (),
    }

    weight = WeightField(
        label=_("Weight of the honey"), help_text=_("Enter 0 if the vessel is empty.")
    )
    depth = LengthField(
        label=_("Depth of the honey"),
        help_text=_("Straight up from the lowest point inside to the surface."),
    )
    celsius = TemperatureField(label=_("Temperature of the honey"))
    gross = WeightField(label=_("Gross weight"), help_text=_("The drum and its honey together."))
    tare = WeightField(
        label=_("Tare"),
        required=False,
        help_text=_("If you leave this out, the weight recorded for this drum is used."),
    )
    lot = forms.ModelChoiceField(
        label=_("Lot"),
        queryset=Lot.objects.none(),
        required=False,
        empty_label=_("As the books say"),
        help_text=_("Only where other honey is in it than the books say."),
    )
    note = note_field()

    def __init__(self, *args: Any, vessel: Place, how: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.how = how
        for other, names in self.FIELDS.items():
            for name in names:
                if other != how:
                    del self.fields[name]
        if how == How.DIP:
            self.fields["celsius"].initial = usual_temperature()
        if how == How.SEAL:
            del self.fields["lot"]
        else:
            found = Lot.objects.that_came_in().filter(product=None).order_by("-made_on", "-id")
            self.fields["lot"].queryset = found  # type: ignore[attr-defined]
            self.fields["lot"].label_from_instance = _bulk_label  # type: ignore[attr-defined]

    def figures(self) -> dict[str, Any]:
        """Return what the service asks for, in its words."""
        data = self.cleaned_data
        return {
            "how": self.how,
            "grams": data.get("weight"),
            "depth_mm": data.get("depth"),
            "celsius": data.get("celsius"),
            "gross_grams": data.get("gross"),
            "tare_grams": data.get("tare"),
            "lot": data.get("lot"),
            "counted_at": data["counted_at"],
            "note": data["note"],
        }


def ways_to_count(vessel: Place) -> list[str]:
    """Return how a vessel can be counted, the usual way first."""
    ways = [How.WEIGHT]
    if vessel.kind in SEALED:
        ways = [How.GROSS, How.SEAL, How.WEIGHT]
    if hasattr(vessel, "shape"):
        ways = [How.DIP, *ways] if vessel.kind == Place.Kind.TANK else [*ways, How.DIP]
    return [str(way) for way in ways]


def _bulk_label(lot: Lot) -> str:
    return gettext("%(lot)s, %(source)s") % {"lot": lot.code, "source": lot.floral_source}


class SealsForm(CountedForm):
    """The drums whose seal is whole."""

    vessels = forms.ModelMultipleChoiceField(
        label=_("Seal whole"),
        queryset=Place.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        to_field_name="code",
        error_messages={"required": _("Tick the drums whose seal is whole.")},
    )

    def __init__(self, *args: Any, rows: list[SheetRow], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        told = {row.place.pk: self._told(row) for row in rows}
        vessels = self.fields["vessels"]
        vessels.queryset = Place.objects.filter(pk__in=told)  # type: ignore[attr-defined]
        vessels.label_from_instance = lambda place: told[place.pk]  # type: ignore[attr-defined]

    @staticmethod
    def _told(row: SheetRow) -> str:
        figures = {"place": row.place.name, "lot": row.lot}
        if row.book_quantity is None:
            return gettext("%(place)s, lot %(lot)s") % figures
        figures["weight"] = words.weight(row.book_quantity)
        return gettext("%(place)s, lot %(lot)s, %(weight)s") % figures


class SheetCloseForm(ActForm):
    """One reason for all differences, and the moment as of which they are booked."""

    fields_of_parameters = {"as_of": "as_of_day"}

    reason = forms.CharField(
        label=_("Reason"),
        max_length=300,
        help_text=_("For example: year-end count of two people."),
        error_messages={"required": _("Enter a reason for changing the books to match the count.")},
    )
    uncounted = forms.ChoiceField(
        label=_("What was not counted"),
        choices=CountSheet.Uncounted.choices,
        initial=CountSheet.Uncounted.LEFT,
        widget=forms.RadioSelect,
    )
    as_of_day = DayField(label=_("Book the differences as of"), required=False)
    as_of_time = TimeOfDayField(
        label=_("At"),
        required=False,
        help_text=_("Leave both empty for now. A past day without a time means: the end of it."),
    )
    surplus_reason = surplus_reason_field()

    def __init__(self, *args: Any, asks_why: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not asks_why:
            del self.fields["surplus_reason"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        data["as_of"] = moment_of(data.get("as_of_day"), data.get("as_of_time"))
        return data

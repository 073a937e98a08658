"""Forms of labels: what to print on which sheet, and how a sheet is laid out."""

from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inventory.bottling import papers
from inventory.bottling.forms import PiecesField
from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import labels
from inventory.shared import printed_codes
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import CodeChoiceField, LengthField, NumberField, QuantityField

if TYPE_CHECKING:
    from pint import Quantity


class MeasureField(QuantityField):
    """A measure of a label sheet: millimetres or inches; comes out in mm to a hundredth."""

    kind = "length"
    units = [("mm", _("mm")), ("in", _("in")), ("cm", _("cm"))]

    def to_rest(self, quantity: "Quantity[Decimal]", unit: str) -> Decimal:
        millimetres: Decimal = quantity.m_as("mm")
        return millimetres.quantize(Decimal("0.01"), ROUND_HALF_UP)


class CorrectionField(NumberField):
    """By how many millimetres to move what is printed, also back; to a hundredth."""

    input_mode = "text"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=5, decimal_places=2, required=False, **kwargs)


class LabelSheetForm(ActForm):
    fields_of_parameters = {
        name: name.removesuffix("_mm")
        for name in (
            "label_width_mm",
            "label_height_mm",
            "margin_left_mm",
            "margin_top_mm",
            "gap_x_mm",
            "gap_y_mm",
            "offset_x_mm",
            "offset_y_mm",
            "corner_radius_mm",
        )
    }

    name = forms.CharField(
        label=_("Name"),
        max_length=60,
        error_messages={"required": _("Enter a name.")},
        help_text=_("For example “2 × 4 in, 10 on Letter”."),
    )
    paper = forms.ChoiceField(label=_("Paper"), choices=LabelSheet.Paper)
    label_width = MeasureField(label=_("Width of a label"))
    label_height = MeasureField(label=_("Height of a label"))
    columns = PiecesField(label=_("Labels across"), initial=1)
    rows = PiecesField(label=_("Labels down"), initial=1)
    margin_left = MeasureField(
        label=_("Left margin"),
        required=False,
        help_text=_("From the edge of the paper to the first label."),
    )
    margin_top = MeasureField(label=_("Top margin"), required=False)
    gap_x = MeasureField(label=_("Gap between labels, across"), required=False)
    gap_y = MeasureField(label=_("Gap between labels, down"), required=False)
    corner_radius = MeasureField(label=_("Radius of the corners"), required=False)
    offset_x = CorrectionField(
        label=_("Move to the right, mm"),
        help_text=_("Moves all that is printed. A figure below zero moves it to the left."),
    )
    offset_y = CorrectionField(
        label=_("Move down, mm"), help_text=_("A figure below zero moves it up.")
    )
    is_active = forms.BooleanField(label=_("In use"), required=False, initial=True)


class LabelPrintForm(HouseForm):
    """Which labels of a run to print; read from the address, so that a page can be kept."""

    class Panel:
        LABEL = "label"
        ROUND = "round"

    fields_of_parameters = {"count": "pieces"}
    CODES = [
        (papers.NO_CODE, _("none")),
        (papers.BARCODE, _("bar code of the GTIN (EAN or UPC)")),
        (papers.GS1_128, _("GS1-128 with GTIN, best-by date and lot")),
        (papers.QR, _("QR code")),
    ]

    sheet = CodeChoiceField(
        label=_("Layout"),
        queryset=LabelSheet.objects.filter(is_active=True),
        empty_label=None,
    )
    pieces = PiecesField(label=_("Labels"))
    spare = PiecesField(
        label=_("Spare labels"), required=False, help_text=_("For labels that get spoiled.")
    )
    first = PiecesField(
        label=_("First free position"),
        required=False,
        initial=1,
        help_text=_("On a sheet already begun: count from left to right, then down."),
    )
    code = forms.ChoiceField(label=_("Code"), choices=CODES)
    qr_text = forms.CharField(
        label=_("Web address or text of the QR code"),
        required=False,
        max_length=printed_codes.QR_TEXT_MAX,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    panel = forms.ChoiceField(
        label=_("Front panel"),
        choices=[(Panel.LABEL, _("the label itself")), (Panel.ROUND, _("a round jar"))],
        help_text=_(
            "In the United States its area sets how high the net weight must be. For a round jar "
            "it is 40 % of its height times the way around."
        ),
    )
    panel_height = LengthField(label=_("Height of the jar"), required=False)
    panel_around = LengthField(label=_("Way around the jar"), required=False)

    def __init__(self, *args: Any, page_url: str | None = None, **kwargs: Any) -> None:
        """Offer a QR code with the address of the jar's page, where the jar has one."""
        super().__init__(*args, **kwargs)
        self.page_url = page_url
        code = self.fields["code"]
        assert isinstance(code, forms.ChoiceField)
        if page_url:
            code.choices = [*self.CODES, (papers.JAR_PAGE, _("QR code of the jar's page"))]

    def qr_code(self) -> dict[str, str]:
        """Return which code to print, and the text of a QR code."""
        data = self.cleaned_data
        if data["code"] == papers.JAR_PAGE:
            return {"code": papers.QR, "qr_text": self.page_url or ""}
        return {"code": data["code"], "qr_text": data["qr_text"]}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("panel") == self.Panel.ROUND:
            for name in ("panel_height", "panel_around"):
                if name not in self.errors and not data.get(name):
                    self.add_error(name, _now("Measure the jar and enter a figure above zero."))
        return data

    def panel_in2(self) -> float | None:
        """Return the area of a round jar's panel; None where the label is the panel."""
        data = self.cleaned_data
        if data["panel"] != self.Panel.ROUND:
            return None
        return labels.round_jar_in2(height_mm=data["panel_height"], around_mm=data["panel_around"])


def initial_of_sheet(sheet: LabelSheet) -> dict[str, Any]:
    """Return what the form of a layout shows first."""
    measured = ("label_width", "label_height", "margin_left", "margin_top", "gap_x", "gap_y")
    shown: dict[str, Any] = {
        name: [_plain(getattr(sheet, f"{name}_mm")), "mm"] for name in (*measured, "corner_radius")
    }
    return shown | {
        "name": sheet.name,
        "paper": sheet.paper,
        "columns": sheet.columns,
        "rows": sheet.rows,
        "offset_x": _plain(sheet.offset_x_mm),
        "offset_y": _plain(sheet.offset_y_mm),
        "is_active": sheet.is_active,
    }


def _plain(number: Decimal) -> Decimal:
    return Decimal(f"{number.normalize():f}")

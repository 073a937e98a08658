"""The labels of a run as PDF, and the page by which a printer is aligned."""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import label_layout, labels
from inventory.bottling.rules import label_sheets as sheets
from inventory.bottling.rules.label_layout import LabelDrawing
from inventory.bottling.rules.labels import LabelFacts, NetWeightType
from inventory.shared import documents, printed_codes, words
from inventory.shared.errors import BadValue
from inventory.shared.printed_codes import PrintedCode

LABELS_MAX = 2_000
# The rulers of the test page are so far from the edges of the paper, where printers can print.
RULER_AT_MM = 8

# The kinds of code a label can have.
NO_CODE, BARCODE, GS1_128, QR = "none", "barcode", "gs1-128", "qr"
# A QR code whose address nobody has to type.
JAR_PAGE = "jar-page"


@dataclass(frozen=True)
class LabelPrint:
    """Labels ready to print: all of it fits, and what the law asks of the net weight is met."""

    sheet: LabelSheet
    count: int
    first: int
    drawing: LabelDrawing
    net_weight: NetWeightType

    @property
    def pages(self) -> int:
        return sheets.pages_needed(self.sheet, count=self.count, first=self.first)

    @property
    def net_weight_told(self) -> str:
        return _("%(height)s mm, measured on %(measured)s") % {
            "height": words.number(labels.tenths(self.net_weight.least_mm)),
            "measured": self.net_weight.measured_on,
        }


def prepare(
    facts: LabelFacts,
    *,
    sheet: LabelSheet,
    count: int,
    first: int = 1,
    code: str = NO_CODE,
    qr_text: str = "",
    panel_in2: float | None = None,
) -> LabelPrint:
    """Lay out the labels of a run; `panel_in2` is the front panel, or the label where it is None.

    Raises `BadValue` for what does not fit, in words with the way out.
    """
    if not 1 <= count <= LABELS_MAX:
        raise BadValue(
            _("Enter a number of labels from 1 to %(most)s.") % {"most": words.number(LABELS_MAX)},
            parameter="count",
        )
    if not 1 <= first <= sheet.per_page:
        raise BadValue(
            _("A sheet has %(count)s labels. Enter a position from 1 to %(count)s.")
            % {"count": sheet.per_page},
            parameter="first",
        )
    width_mm, height_mm = float(sheet.label_width_mm), float(sheet.label_height_mm)
    if panel_in2 is None:
        panel_in2 = labels.rectangle_in2(width_mm, height_mm)
    net_weight = labels.net_weight_type(
        grams=facts.declared_grams,
        market=facts.market,
        panel_in2=panel_in2,
        statement=labels.net_weight(facts.declared_grams, facts.market),
    )
    room = label_layout.Room(
        width_mm=width_mm,
        height_mm=height_mm,
        texts=labels.texts(facts),
        net_weight=net_weight,
        small_mm=labels.small_type_mm(facts.market),
        in_the_lower_part=labels.is_in_the_lower_part(facts.market, panel_in2),
        codes=codes_of(facts, code=code, qr_text=qr_text),
    )
    found = label_layout.lay_out(room)
    if isinstance(found, label_layout.Misfit):
        parameter = "code" if found.name == "code" else "sheet"
        raise BadValue(found.message, parameter=parameter)
    return LabelPrint(sheet, count, first, found, net_weight)


def codes_of(facts: LabelFacts, *, code: str, qr_text: str = "") -> list[PrintedCode]:
    """Return the code asked for in each size it can have; raises `BadValue` where it can't be."""
    if code == NO_CODE:
        return []
    if code == QR:
        if not 1 <= len(qr_text) <= printed_codes.QR_TEXT_MAX:
            raise BadValue(
                _("Enter the web address or text of the QR code, up to %(most)s characters.")
                % {"most": printed_codes.QR_TEXT_MAX},
                parameter="qr_text",
            )
        return printed_codes.qr(qr_text)
    if not facts.gtin:
        raise BadValue(
            _("A bar code needs a GTIN. Enter it at the product first, or choose another code."),
            parameter="code",
        )
    if code == BARCODE:
        if len(facts.gtin) not in printed_codes.RETAIL_KINDS:
            raise BadValue(
                _("A GTIN of 14 digits is for cases and no bar code for a till. Choose GS1-128."),
                parameter="code",
            )
        return printed_codes.retail(facts.gtin)
    if facts.best_by is None or not printed_codes.fits_gs1_lot(facts.lot_code):
        raise BadValue(
            _(
                "A GS1-128 needs a best-by date and a lot code of at most %(most)s plain letters "
                "and digits. Choose another code."
            )
            % {"most": printed_codes.GS1_LOT_MAX},
            parameter="code",
        )
    return printed_codes.gs1_128(gtin=facts.gtin, best_by=facts.best_by, lot_code=facts.lot_code)


def label_pages(printed: LabelPrint) -> bytes:
    """Return the labels as PDF; raises `PdfUnavailable`."""
    runs = sheets.pages(printed.sheet, count=printed.count, first=printed.first)
    width_mm, height_mm = sheets.page_size(printed.sheet)
    context = {
        "sheet": printed.sheet,
        "pages": runs,
        "page_width_mm": width_mm,
        "page_height_mm": height_mm,
        "drawing": printed.drawing,
    }
    return documents.render_pages(
        "documents/labels.html", context, copies=[run.copies for run in runs]
    )


def test_page(sheet: LabelSheet) -> bytes:
    """Return the outlines of the labels and two rulers as PDF; raises `PdfUnavailable`."""
    return documents.render_pages("documents/label_test_page.html", test_page_context(sheet))


def test_page_context(sheet: LabelSheet) -> dict[str, Any]:
    width_mm, height_mm = sheets.page_size(sheet)
    across, down = range(int(width_mm) + 1), range(int(height_mm) + 1)
    ticks = [f"M{mm} {RULER_AT_MM}v{_tick_mm(mm)}" for mm in across]
    ticks += [f"M{RULER_AT_MM} {mm}h{_tick_mm(mm)}" for mm in down]
    return {
        "sheet": sheet,
        "page_width_mm": width_mm,
        "page_height_mm": height_mm,
        "spots": [(number, sheets.spot(sheet, number)) for number in range(1, sheet.per_page + 1)],
        "ticks": " ".join(ticks),
        "across": across[::10],
        "down": down[::10],
    }


def _tick_mm(mm: int) -> int:
    """Return how long the tick of a ruler is: longer at each fifth and tenth millimetre."""
    return 4 if mm % 10 == 0 else 3 if mm % 5 == 0 else 2

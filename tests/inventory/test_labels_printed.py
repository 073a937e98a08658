"""Labels as they come out of the printer: codes are scanned, letters and places are measured.

Heights: 21 CFR 101.7(i) and Directive 76/211/EEC, annex I 3.1 (from memory). Numbers with known
check digits: GS1 India's worked example (read), a UPC example (read), GS1 (memory).
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from inventory.bottling import papers
from inventory.bottling.models import LabelSheet
from inventory.bottling.rules import label_sheets
from inventory.bottling.rules.labels import LabelFacts
from tests.inventory import printed

pytestmark = pytest.mark.django_db

INDIA_EAN_13 = "8904000210037"
UPC_A = "036000241457"
FOUND_DPI = 1200


def facts(**changes) -> LabelFacts:
    told = {
        "form": "liquid",
        "variety": "Clover and basswood",
        "declared_grams": Decimal("453.59237"),
        "gtin": UPC_A,
        "lot_code": "L26214-1",
        "best_by": date(2028, 7, 31),
        "house_name": "Alder Creek Honey",
        "address": ("118 Mill Road", "Fernley, WI 54000"),
        "market": "us",
        "sources": [("Clover", Fraction(3, 5)), ("Basswood", Fraction(2, 5))],
    }
    return LabelFacts(**(told | changes))


def sheet(code: str = "letter-10", **changes) -> LabelSheet:
    found = LabelSheet.objects.get(code=code)
    for name, value in changes.items():
        setattr(found, name, value)
    return found


def printed_pages(told: LabelFacts, **asked) -> bytes:
    return papers.label_pages(papers.prepare(told, **({"count": 1} | asked)))


@pytest.mark.parametrize(
    ("gtin", "found"),
    [
        (INDIA_EAN_13, ("EAN13", INDIA_EAN_13)),
        ("6291041500213", ("EAN13", "6291041500213")),
        # Scanners tell a UPC-A as the EAN-13 that it is, with a zero before it.
        (UPC_A, ("EAN13", f"0{UPC_A}")),
        ("96385074", ("EAN8", "96385074")),
    ],
)
def test_the_bar_code_of_a_label_is_read_by_a_scanner(gtin, found):
    pdf = printed_pages(facts(gtin=gtin), sheet=sheet(), code=papers.BARCODE)

    assert printed.codes(printed.picture(pdf, box_mm=(0, 0, 106, 66))) == [found]


def test_the_gs1_128_of_a_case_has_article_best_before_and_lot():
    pdf = printed_pages(facts(gtin=INDIA_EAN_13), sheet=sheet("roll-4-6"), code=papers.GS1_128)

    assert printed.codes(printed.picture(pdf)) == [
        ("Code128", "(01)08904000210037(15)280731(10)L26214-1")
    ]


def test_the_qr_code_of_a_label_is_read_by_a_phone():
    address = "https://alder-creek.example/lots/L26214-1"
    pdf = printed_pages(facts(), sheet=sheet(), code=papers.QR, qr_text=address)

    assert printed.codes(printed.picture(pdf, box_mm=(0, 0, 106, 66))) == [("QRCode", address)]


def test_the_american_net_weight_is_as_high_as_its_panel_asks_and_in_the_lower_part():
    # The label is 2 × 4 in: 8 square inches, so the small "o", or what is like it, has 1/8 in.
    layout = sheet()
    ready = papers.prepare(facts(), sheet=layout, count=1, code=papers.BARCODE)
    pdf = papers.label_pages(ready)
    last = [line for line in ready.drawing.lines if line.name == "net_weight"][-1]
    first = next(line for line in ready.drawing.lines if line.name == "net_weight")
    spot = label_sheets.spot(layout, 1)
    box = (
        float(spot.left_mm) + last.left_mm,
        float(spot.top_mm) + last.top_mm,
        last.width_mm,
        last.line_mm + 0.5,
    )

    image = printed.picture(pdf, dpi=FOUND_DPI, box_mm=box)
    columns = printed.letters(image)
    small_g = printed.ink(image.crop((columns[-1][0], 0, columns[-1][1], image.height)))
    four = printed.ink(image.crop((columns[-4][0], 0, columns[-4][1], image.height)))

    assert last.text.endswith("454\u00a0g")
    height_mm = (four[3] - small_g[1]) / FOUND_DPI * 25.4
    assert height_mm >= 25.4 / 8
    assert first.top_mm >= 0.7 * 50.8


def test_the_european_net_weight_has_figures_as_high_as_its_weight_asks():
    layout = sheet("a4-21")
    ready = papers.prepare(facts(market="eu", declared_grams=Decimal(500)), sheet=layout, count=1)
    line = next(line for line in ready.drawing.lines if line.name == "net_weight")
    spot = label_sheets.spot(layout, 1)
    box = (
        float(spot.left_mm) + line.left_mm,
        float(spot.top_mm) + line.top_mm,
        line.width_mm,
        line.line_mm,
    )

    image = printed.picture(papers.label_pages(ready), dpi=FOUND_DPI, box_mm=box)
    start, end = printed.letters(image)[0]
    five = printed.ink(image.crop((start, 0, end, image.height)))

    assert line.text == "500\u00a0g"
    assert (five[3] - five[1]) / FOUND_DPI * 25.4 >= 4


def test_the_test_page_draws_each_label_where_it_is_and_the_offsets_move_it():
    plain = printed.picture(papers.test_page(sheet()), dpi=127)
    moved = printed.picture(
        papers.test_page(sheet(offset_x_mm=Decimal(3), offset_y_mm=Decimal(-2))), dpi=127
    )

    # Five pixels a millimetre. Label 4: second column, second row of 2 × 4 in labels.
    assert _outline_of_label_4(plain) == pytest.approx((110.3, 63.5), abs=0.3)
    assert _outline_of_label_4(moved) == pytest.approx((113.3, 61.5), abs=0.3)


def _outline_of_label_4(image) -> tuple[float, float]:
    """Return in mm where its left side and its upper side are drawn."""
    across = printed.ink(image.crop((109 * 5, 90 * 5, 118 * 5, 90 * 5 + 1)))
    down = printed.ink(image.crop((180 * 5, 56 * 5, 180 * 5 + 1, 64 * 5 + 2)))
    return 109 + across[0] / 5, 56 + down[1] / 5


def test_a_begun_sheet_is_printed_on_from_its_first_free_position():
    pdf = printed_pages(facts(), sheet=sheet(), count=23, first=9)

    assert printed.pages(pdf) == 4
    # Position 9 is at the lower left; the first row is used up already.
    page = printed.picture(pdf, dpi=50)
    left, top, _right, _bottom = printed.ink(page)
    assert top / 50 * 25.4 > 12.7 + 4 * 50.8
    assert left / 50 * 25.4 < 10

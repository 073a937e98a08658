"""Codes that a scanner or a phone reads, drawn for print: EAN, UPC, GS1-128, Code 128 and QR.

Sizes by the GS1 General Specifications, from memory: EAN-13, EAN-8 and UPC-A have modules of 0.264
to 0.66 mm (0.33 is nominal) and bars 22.85 mm high at the nominal size (EAN-8 18.23), with quiet
zones of 11 and 7, 7 and 7, 9 and 9 modules; GS1-128 has modules of 0.25 mm or more, 0.495 for
goods in transport, bars of at least 12.7 mm, and quiet zones of 10 modules. A QR code has a quiet
zone of 4 modules (ISO/IEC 18004); modules of 0.4 mm and more are read by phones.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.safestring import SafeString, mark_safe

from inventory.physics import gtin as gtins

# Widths of a module in mm, the best first.
RETAIL_MODULES_MM = (0.33, 0.297, 0.264)
GS1_128_MODULES_MM = (0.495, 0.33, 0.264, 0.25)
QR_MODULES_MM = (0.6, 0.5, 0.4)
NOMINAL_MODULE_MM = 0.33
GS1_128_BAR_MM = 12.7
CODE_128_QUIET = 10
QR_QUIET = 4
QR_TEXT_MAX = 200
# A lot code within GS1-128, application identifier 10.
GS1_LOT_MAX = 20
# Figures below the bars, as a share of the nominal size.
FIGURES_MM = 2.8
FIGURES_LINE_MM = 3.2

# How a number of so many digits is printed for the till: library name, quiet zones, bar height.
RETAIL_KINDS = {
    8: ("ean8", 7, 7, 18.23),
    12: ("upca", 9, 9, 22.85),
    13: ("ean13", 11, 7, 22.85),
}


@dataclass(frozen=True)
class PrintedCode:
    """A code at one size: black modules, the quiet zones around them, and its text below."""

    rows: tuple[str, ...]
    module_mm: float
    row_mm: float
    quiet_left: int
    quiet_right: int
    quiet_above: int = 0
    text: str = ""
    text_size_mm: float = 0.0
    text_line_mm: float = 0.0

    @property
    def width_mm(self) -> float:
        return (self.quiet_left + len(self.rows[0]) + self.quiet_right) * self.module_mm

    @property
    def modules_height_mm(self) -> float:
        """Height of the drawing, quiet zones above and below included, without the text."""
        return len(self.rows) * self.row_mm + 2 * self.quiet_above * self.module_mm

    @property
    def height_mm(self) -> float:
        return self.modules_height_mm + self.text_line_mm

    @property
    def svg(self) -> SafeString:
        """Return the drawing, in exact millimetres."""
        size = f"{self.width_mm:.4f}", f"{self.modules_height_mm:.4f}"
        path = " ".join(self._bars())
        return mark_safe(
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}mm" height="{size[1]}mm" '
            f'viewBox="0 0 {size[0]} {size[1]}"><path fill="#000" d="{path}"/></svg>'
        )

    def _bars(self) -> Iterator[str]:
        for number, row in enumerate(self.rows):
            top = self.quiet_above * self.module_mm + number * self.row_mm
            for start, count in _runs(row):
                left = (self.quiet_left + start) * self.module_mm
                width = count * self.module_mm
                yield f"M{left:.4f} {top:.4f}h{width:.4f}v{self.row_mm:.4f}h{-width:.4f}z"


def retail(gtin: str) -> list[PrintedCode]:
    """Return the bar code of a GTIN with 8, 12 or 13 digits, in each size, the best first.

    Raises ValueError for any other number: 14 digits are no code for a till.
    """
    if len(gtin) not in RETAIL_KINDS or not gtins.is_valid_gtin(gtin):
        raise ValueError(f"{gtin!r} is no GTIN of 8, 12 or 13 digits.")
    kind, quiet_left, quiet_right, bar_mm = RETAIL_KINDS[len(gtin)]
    rows = (_modules(kind, gtin),)
    return [
        PrintedCode(
            rows=rows,
            module_mm=module_mm,
            row_mm=bar_mm * module_mm / NOMINAL_MODULE_MM,
            quiet_left=quiet_left,
            quiet_right=quiet_right,
            text=_grouped(gtin),
            text_size_mm=FIGURES_MM * module_mm / NOMINAL_MODULE_MM,
            text_line_mm=FIGURES_LINE_MM * module_mm / NOMINAL_MODULE_MM,
        )
        for module_mm in RETAIL_MODULES_MM
    ]


def gs1_128(*, gtin: str, best_by: date, lot_code: str) -> list[PrintedCode]:
    """Return the GS1-128 of a lot, in each size: (01) GTIN, (15) best before, (10) lot.

    Raises ValueError for a GTIN or a lot code that does not fit its identifier.
    """
    if not gtins.is_valid_gtin(gtin):
        raise ValueError(f"{gtin!r} is no GTIN.")
    if not fits_gs1_lot(lot_code):
        raise ValueError(f"{lot_code!r} does not fit application identifier 10.")
    # The lot is last: what has no fixed length needs a separator before anything that follows it.
    parts = (("01", gtin.zfill(14)), ("15", f"{best_by:%y%m%d}"), ("10", lot_code))
    # The library puts FNC1, which makes it a GS1 code, before the data.
    data = "".join(identifier + value for identifier, value in parts)
    text = "".join(f"({identifier}){value}" for identifier, value in parts)
    rows = (_modules("gs1_128", data),)
    return [
        _linear(rows, module_mm=module_mm, bar_mm=GS1_128_BAR_MM, text=text)
        for module_mm in GS1_128_MODULES_MM
    ]


def fits_gs1_lot(lot_code: str) -> bool:
    """Tell whether a lot code can be in a GS1-128: up to 20 letters, digits and plain signs."""
    return 1 <= len(lot_code) <= GS1_LOT_MAX and all(
        letter.isascii() and (letter.isalnum() or letter in "!\"%&'()*+,-./_:;<=>?")
        for letter in lot_code
    )


def code_128(text: str, *, module_mm: float, bar_mm: float) -> PrintedCode:
    """Return a Code 128 of plain text, with the text below it."""
    return _linear((_modules("code128", text),), module_mm=module_mm, bar_mm=bar_mm, text=text)


def qr(text: str, *, modules_mm: Sequence[float] = QR_MODULES_MM) -> list[PrintedCode]:
    """Return a QR code of a text or address, in each size, with error correction level M or more.

    Level M restores about 15 % of the code (ISO/IEC 18004), such as a drop of honey hides.
    """
    import segno

    matrix = segno.make(text, error="m", boost_error=True, micro=False).matrix
    rows = tuple("".join("1" if module else "0" for module in row) for row in matrix)
    return [
        PrintedCode(
            rows=rows,
            module_mm=module_mm,
            row_mm=module_mm,
            quiet_left=QR_QUIET,
            quiet_right=QR_QUIET,
            quiet_above=QR_QUIET,
        )
        for module_mm in modules_mm
    ]


def _linear(rows: tuple[str, ...], *, module_mm: float, bar_mm: float, text: str) -> PrintedCode:
    return PrintedCode(
        rows=rows,
        module_mm=module_mm,
        row_mm=bar_mm,
        quiet_left=CODE_128_QUIET,
        quiet_right=CODE_128_QUIET,
        text=text,
        text_size_mm=2.2,
        text_line_mm=2.8,
    )


def _modules(kind: str, data: str) -> str:
    """Return the modules of a bar code, "1" for black."""
    import barcode

    return str(barcode.get_barcode_class(kind)(data).build()[0])


def _runs(row: str) -> Iterator[tuple[int, int]]:
    """Yield where each run of black modules starts, and how many they are."""
    start = None
    for place, module in enumerate(f"{row}0"):
        if module == "1" and start is None:
            start = place
        elif module == "0" and start is not None:
            yield start, place - start
            start = None


def _grouped(gtin: str) -> str:
    """Return the digits as they are read below the bars."""
    if len(gtin) == 8:
        return f"{gtin[:4]} {gtin[4:]}"
    if len(gtin) == 12:
        return f"{gtin[0]} {gtin[1:6]} {gtin[6:11]} {gtin[11]}"
    return f"{gtin[0]} {gtin[1:7]} {gtin[7:]}"

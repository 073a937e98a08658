"""The lettering of pages, papers and labels: one font that comes with the service.

All are set in Noto Sans (`inventory/static/inventory/fonts/`, SIL Open Font License), whatever
fonts the machine has: so they look alike everywhere, figures stand under each other, and no paper
fails for want of a font. A rule about the height of letters can be kept only where the font is
known: its measures are here. Lengths are in em, the size of the font, unless they are said to be in
millimetres.
"""

import base64
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

FONTS = Path(__file__).parent.parent / "static" / "inventory" / "fonts"
# The letters of most languages in the Latin script, and those of the others. A paper names both
# families; the style of pages has them as one.
FAMILIES = {"House Sans": "latin", "House Sans More": "latin-ext"}
WEIGHTS = (400, 700)
UNITS_PER_EM = 1000
# The space a letter takes that the font lacks: as wide as high, so that a text is never taken for
# shorter than another font draws it.
UNKNOWN_EM = 1.0


@dataclass(frozen=True)
class Face:
    """One weight of the font: the heights of its flat letters, and how far each advances."""

    capital_em: float
    small_o_em: float
    figure_em: float
    advances: dict[str, float]

    def width_em(self, text: str) -> float:
        """Return how wide a line of text is, without kerning and ligatures."""
        return sum(self.advances.get(letter, UNKNOWN_EM) for letter in text)


@cache
def face(*, bold: bool = False) -> Face:
    """Return the measures of the font, read from its file."""
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.ttLib import TTFont

    weight = 700 if bold else 400
    usual, *more = (TTFont(_file(letters, weight)) for letters in FAMILIES.values())
    glyphs, names = usual.getGlyphSet(), usual.getBestCmap()
    advances: dict[str, float] = {}
    # The first that has a letter draws it.
    for font in (*more, usual):
        widths = font["hmtx"].metrics
        advances |= {
            chr(code): float(widths[name][0]) / UNITS_PER_EM
            for code, name in font.getBestCmap().items()
        }

    def top_em(letter: str) -> float:
        pen = BoundsPen(glyphs)
        glyphs[names[ord(letter)]].draw(pen)
        return float(pen.bounds[3]) / UNITS_PER_EM

    return Face(
        capital_em=top_em("H"),
        # The round "o" reaches over and under its line; the flat "x" beside it is the sure height.
        small_o_em=top_em("x"),
        figure_em=top_em("1"),
        advances=advances,
    )


def wrap(text: str, *, width_mm: float, size_mm: float, bold: bool = False) -> list[str] | None:
    """Return a text in lines that are no wider; None where one word alone is wider.

    A line break in the text stays; a no-break space holds two words together.
    """
    letters = face(bold=bold)
    lines = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split(" "):
            longer = f"{line} {word}" if line else word
            if letters.width_em(longer) * size_mm <= width_mm:
                line = longer
                continue
            if letters.width_em(word) * size_mm > width_mm:
                return None
            lines.append(line)
            line = word
        lines.append(line)
    return [line for line in lines if line]


def css() -> str:
    """Return the style that gives a paper these fonts, the font files within it."""
    return "\n".join(_font_faces())


def _font_faces() -> Iterator[str]:
    for (family, letters), weight in product(FAMILIES.items(), WEIGHTS):
        content = base64.b64encode(_file(letters, weight).read_bytes()).decode("ascii")
        yield (
            f'@font-face {{ font-family: "{family}"; font-weight: {weight}; '
            f'src: url("data:font/woff2;base64,{content}") format("woff2"); }}'
        )


def _file(letters: str, weight: int) -> Path:
    return FONTS / f"noto-sans-{letters}-{weight}-normal.woff2"

"""The lettering of labels: one font that comes with the service, and how large its letters are.

A rule about the height of letters can be kept only where the font is known. So labels are set in
Noto Sans (`fonts/`, SIL Open Font License), whatever fonts the machine has. Lengths are in em, the
size of the font, unless they are said to be in millimetres.
"""

import base64
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

FONTS = Path(__file__).parent / "fonts"
FAMILY = "House Sans"
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

    font = TTFont(_file(700 if bold else 400))
    glyphs, names = font.getGlyphSet(), font.getBestCmap()

    def top_em(letter: str) -> float:
        pen = BoundsPen(glyphs)
        glyphs[names[ord(letter)]].draw(pen)
        return float(pen.bounds[3]) / UNITS_PER_EM

    return Face(
        capital_em=top_em("H"),
        # The round "o" reaches over and under its line; the flat "x" beside it is the sure height.
        small_o_em=top_em("x"),
        figure_em=top_em("1"),
        advances={
            chr(code): float(glyphs[name].width) / UNITS_PER_EM for code, name in names.items()
        },
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
    """Return the style that gives a paper this font, the font files within it."""
    return "\n".join(_font_faces())


def _font_faces() -> Iterator[str]:
    for weight in WEIGHTS:
        content = base64.b64encode(_file(weight).read_bytes()).decode("ascii")
        yield (
            f'@font-face {{ font-family: "{FAMILY}"; font-weight: {weight}; '
            f'src: url("data:font/woff2;base64,{content}") format("woff2"); }}'
        )


def _file(weight: int) -> Path:
    return FONTS / f"noto-sans-latin-{weight}-normal.woff2"

"""How a typed number or quantity is read: one strict rule, never a guess.

`apiary_sales/web/static/web/typed.js` follows the same rule in the browser; both are tested with
the table `tests/inventory/shared/typed_cases.json`. The house's decimal sign is "." or ","; the
other of the two may only group thousands.
"""

import re
from collections.abc import Mapping
from decimal import Decimal, localcontext
from functools import cache
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from pint import Quantity, UnitRegistry

# More than any figure of a honey house needs; a longer one is a slip, or was pasted by mistake.
LENGTH_MAX = 40
DIGITS_MAX = 15

# Also tab, no-break and thin spaces, which programs put between thousands.
SPACES = " \t\u00a0\u2007\u2009\u202f"
SPACE = f"[{SPACES}]"
# A unit as written: one or more words of characters that no number has.
LETTER = f"[^0-9.,/+{SPACES}-]"
WORD = rf"{LETTER}+(?:[.{SPACES}]+{LETTER}+)*(?:[.,](?={SPACE}|\Z))?"
# Signs that mean the same as plain ones: fractions, and the wide digits of Asian keyboards.
# Digits of other scripts are refused.
PLAIN = str.maketrans(
    {
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "⁄": "/",
        "−": "-",
        **dict(zip("０１２３４５６７８９", "0123456789", strict=True)),
    }
)

# Each kind's units and the words people write for them, in English and Spanish.
WORDS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "weight": {
        "lb": ("lb", "lbs", "pound", "pounds", "libra", "libras"),
        "oz": ("oz", "ounce", "ounces", "onza", "onzas"),
        "kg": ("kg", "kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramo", "kilogramos"),
        "g": ("g", "gram", "grams", "gramo", "gramos"),
    },
    "volume": {
        "gal": ("gal", "gals", "gallon", "gallons", "galón", "galon", "galones"),
        "qt": ("qt", "qts", "quart", "quarts", "cuarto", "cuartos"),
        "pt": ("pt", "pts", "pint", "pints", "pinta", "pintas"),
        "fl_oz": (
            *("fl_oz", "fl oz", "fluid ounce", "fluid ounces"),
            *("onza líquida", "onzas líquidas", "onza liquida", "onzas liquidas"),
        ),
        "L": ("l", "lt", "lts", "liter", "liters", "litre", "litres", "litro", "litros"),
        "mL": (
            *("ml", "milliliter", "milliliters", "millilitre", "millilitres"),
            *("mililitro", "mililitros"),
        ),
    },
    "length": {
        "ft": ("ft", "foot", "feet", "pie", "pies", "'", "′", "’"),
        "in": ("in", "inch", "inches", "pulg", "pulgada", "pulgadas", '"', "″", "”"),
        "m": ("m", "meter", "meters", "metre", "metres", "metro", "metros"),
        "cm": (
            *("cm", "centimeter", "centimeters", "centimetre", "centimetres"),
            *("centímetro", "centímetros", "centimetro", "centimetros"),
        ),
        "mm": (
            *("mm", "millimeter", "millimeters", "millimetre", "millimetres"),
            *("milímetro", "milímetros", "milimetro", "milimetros"),
        ),
    },
}
# A larger unit, the smaller ones that may follow it, and how many of them make one of it.
SMALLER: Mapping[str, Mapping[str, int]] = {
    "lb": {"oz": 16},
    "kg": {"g": 1000},
    "gal": {"qt": 4, "pt": 8, "fl_oz": 128},
    "qt": {"pt": 2, "fl_oz": 32},
    "pt": {"fl_oz": 16},
    "L": {"mL": 1000},
    "ft": {"in": 12},
    "m": {"cm": 100, "mm": 1000},
    "cm": {"mm": 10},
}
# The unit meant by a last number without one: "2 lb 3" and "5 ft 3".
NEXT = {"lb": "oz", "ft": "in"}
# What a quantity of each kind comes out in.
AT_REST = {"weight": "g", "volume": "L", "length": "mm"}
# The units as pint defines them. All are exact: NIST Handbook 44, appendix C. pint's own list
# divides a yard by 36 for an inch, which is not exact in decimals, and takes a second to read.
DEFINITIONS = (
    "g = [mass]",
    "kg = 1000 * g",
    "lb = 453.59237 * g",
    "oz = 28.349523125 * g",
    "L = [volume]",
    "mL = 0.001 * L",
    "gal = 3.785411784 * L",
    "qt = 0.946352946 * L",
    "pt = 0.473176473 * L",
    "fl_oz = 0.0295735295625 * L",
    "mm = [length]",
    "cm = 10 * mm",
    "m = 1000 * mm",
    "in = 25.4 * mm",
    "ft = 304.8 * mm",
)

MESSAGES = {
    "empty": _("Enter a figure."),
    "too_long": _("That has too many digits. Check the figure."),
    "not_a_number": _("“%(typed)s” is not a number. Write it in digits, as in 12%(point)s5."),
    "ambiguous": _(
        "“%(typed)s” can be read in two ways. Write decimals as in 12%(point)s5, "
        "thousands as in 1%(thousands)s250."
    ),
    "fraction": _(
        "Write fractions in halves, quarters, eighths or sixteenths, as in 12 1/2, "
        "or with decimals, as in 12%(point)s5."
    ),
    "negative": _("Enter a figure of 0 or more."),
    "unknown_unit": _("“%(word)s” is not a unit that fits here. Use %(units)s."),
    "unit_missing": _("Write the unit after the last number too, as in 2 lb 3 oz."),
    "units_do_not_follow": _(
        "Write the larger unit first and then a smaller one of the same kind, as in 2 lb 3 oz."
    ),
    "part_not_whole": _("Only the last number may have decimals, as in 2 lb 3%(point)s5 oz."),
    "part_too_large": _(
        "In “%(typed)s”, the smaller unit adds up to one of the larger unit or more. Check "
        "the figure."
    ),
}


class Mistyped(ValueError):
    """What was typed cannot be read: `code` says why, `parts` fill the sentence in `MESSAGES`."""

    def __init__(self, code: str, **parts: Any) -> None:
        super().__init__(code)
        self.code = code
        self.parts = parts

    def __str__(self) -> str:
        return MESSAGES[self.code] % self.parts


def read_number(typed: str, *, decimal_sign: str) -> Decimal:
    """Return a typed number exactly, with the decimals that were typed.

    Thousands may be grouped by spaces or by the other mark, in threes and after a first digit
    that is not zero: in a house with a decimal point "1,250.5" and "1 250.5" are 1250.5, and
    "0,250" and "1,25" are refused. Fractions are read in halves to sixteenths: "12 1/2".
    Raises `Mistyped`, and ValueError for a decimal sign that is neither "." nor ",".
    """
    thousands = _thousands(decimal_sign)
    parts = {"typed": typed.strip()[:20], "point": decimal_sign, "thousands": thousands}
    text = _plain(typed)
    if not text:
        raise Mistyped("empty")
    if "/" in text:
        return _fraction(text, parts)
    found = re.fullmatch(rf"([+-]?){SPACE}*((?:[0-9.,]|{SPACE})*[0-9](?:[0-9.,]|{SPACE})*)", text)
    if not found:
        raise Mistyped("not_a_number", **parts)
    sign, figure = found.groups()
    end, mark = re.escape(decimal_sign), re.escape(thousands)
    grouped = rf"[1-9][0-9]{{0,2}}(?:(?:{mark}[0-9]{{3}})+|(?:{SPACE}[0-9]{{3}})+)"
    if not re.fullmatch(rf"(?:[0-9]+|{grouped})(?:{end}[0-9]*)?|{end}[0-9]+", figure):
        raise Mistyped("ambiguous", **parts)
    whole, _mark, decimals = figure.partition(decimal_sign)
    whole = re.sub("[^0-9]", "", whole)
    if len(whole) + len(decimals) > DIGITS_MAX:
        raise Mistyped("too_long")
    number = Decimal(f"{whole}.{decimals}")
    return -number if sign == "-" and number else number


def read_quantity(typed: str, *, kind: str, unit: str, decimal_sign: str) -> "Quantity[Decimal]":
    """Return a typed weight, volume or length exactly, in grams, litres or millimetres.

    `kind` is a key of `WORDS`; `unit`, one of its units, is meant where none is typed. Reads
    "12 kg", "1 lb 6.4 oz", "2 lb 3", "1.5 gal" and "5 ft 3 1/2 in"; only the last number may have
    decimals. Raises `Mistyped`.
    """
    registry = _registry()
    # Enough digits that no product or sum is rounded.
    with localcontext(prec=60):
        whole = registry.Quantity(Decimal(0), AT_REST[kind])
        for number, named in _quantity_parts(typed, kind, unit, decimal_sign):
            whole = whole + registry.Quantity(number, named).to(AT_REST[kind])
        return whole


def entries(typed: str, *, kind: str, decimal_sign: str) -> list[str]:
    """Return each quantity of a typed list, one to be read by `read_quantity`.

    They are on lines of their own, or with semicolons, commas or spaces between them; where the
    decimal sign is a comma, a space follows one that parts them. A fraction belongs to the whole
    number before it, and a smaller unit to the larger one: "1 lb 4 1/2 oz 1 lb 5 oz" and
    "454 455 1/2" are two each. Thousands are not grouped in a list.
    """
    comma = "," if _thousands(decimal_sign) == "," else rf",(?=[{SPACES}\n\r;]|\Z)"
    found: list[str] = []
    for line in re.split(rf"[\n\r;]|{comma}", typed.translate(PLAIN)):
        tokens = re.findall(f"{WORD}|[0-9.,/+-]+", line)
        pieces: list[list[str]] = []
        for place, token in enumerate(tokens):
            if pieces and _belongs(pieces[-1], token, tokens[place + 1 : place + 3], kind):
                pieces[-1].append(token)
            else:
                pieces.append([token])
        found += [" ".join(piece) for piece in pieces]
    return found


def _belongs(piece: list[str], token: str, after: list[str], kind: str) -> bool:
    """Tell whether a token of a list is part of the quantity before it; two come `after` it."""
    last = piece[-1]
    if _is_word(token):
        return not _is_word(last)
    if not _is_word(last):
        return "/" in token and re.fullmatch("[0-9]+", last) is not None
    larger = _known_unit(last, kind)
    # Only the last number of a quantity may have decimals, and only two units make one.
    if (
        larger is None
        or larger not in SMALLER
        or len(piece) > 2
        or not re.fullmatch("[0-9]+", piece[0])
    ):
        return False
    if after and "/" in after[0] and not _is_word(after[0]):
        after = after[1:]
    if after and _is_word(after[0]):
        return _known_unit(after[0], kind) in SMALLER[larger]
    return larger in NEXT


def _is_word(token: str) -> bool:
    return re.match(LETTER, token) is not None


def _known_unit(word: str, kind: str) -> str | None:
    try:
        return _unit_of(word, kind)
    except Mistyped:
        return None


def first_unit(typed: str, *, kind: str, unit: str) -> str:
    """Return the first unit of a typed quantity: "lb" of "1 lb 6 oz", and `unit` where none is.

    Raises `Mistyped` for a word that is no unit of the kind.
    """
    word = re.search(WORD, _plain(typed))
    return _unit_of(word[0], kind) if word else unit


def _quantity_parts(
    typed: str, kind: str, unit: str, decimal_sign: str
) -> list[tuple[Decimal, str]]:
    # Numbers and the words after them take turns: "1 lb. 4 oz" is "1 ", "lb.", " 4 ", "oz", "".
    *pairs, last = re.split(f"({WORD})", _plain(typed))
    figures = pairs[::2] + ([last] if last or not pairs else [])
    named = [_unit_of(word, kind) for word in pairs[1::2]]
    if len(named) < len(figures):
        if named and named[-1] not in NEXT:
            raise Mistyped("unit_missing")
        named.append(NEXT[named[-1]] if named else unit)
    parts: list[tuple[Decimal, str]] = []
    for figure, this in zip(figures, named, strict=True):
        # A second number with a sign, or with nothing between it and the dot of a unit, is odd.
        if parts and not re.match(f"{SPACE}*[0-9]", figure):
            raise Mistyped("not_a_number", typed=typed.strip()[:20], point=decimal_sign)
        number = read_number(figure, decimal_sign=decimal_sign)
        if number < 0:
            raise Mistyped("negative")
        if parts:
            larger_number, larger = parts[-1]
            if this not in SMALLER.get(larger, ()):
                raise Mistyped("units_do_not_follow")
            if larger_number % 1:
                raise Mistyped("part_not_whole", point=decimal_sign)
            if number >= SMALLER[larger][this]:
                raise Mistyped("part_too_large", typed=typed.strip()[:20])
        parts.append((number, this))
    return parts


def _unit_of(word: str, kind: str) -> str:
    plain = re.sub(f"(?:[.,]|{SPACE})+", " ", word).strip(" ").lower()
    for unit, words in WORDS[kind].items():
        if plain in words:
            return unit
    units = ", ".join(WORDS[kind]).replace("_", " ")
    raise Mistyped("unknown_unit", word=plain[:20], units=units)


def _fraction(text: str, parts: Mapping[str, str]) -> Decimal:
    # Halves to sixteenths have at most four decimals, so nothing is rounded.
    found = re.fullmatch(
        rf"(?:([0-9]{{1,6}})(?:{SPACE}*-{SPACE}*|{SPACE}+))?"
        rf"([0-9]{{1,2}}){SPACE}*/{SPACE}*(2|4|8|16)",
        text,
    )
    if not found:
        raise Mistyped("fraction", **parts)
    whole, upper, lower = (int(figure or 0) for figure in found.groups())
    if upper >= lower:
        raise Mistyped("fraction", **parts)
    return whole + Decimal(upper) / lower


def _plain(typed: str) -> str:
    if len(typed) > LENGTH_MAX:
        raise Mistyped("too_long")
    return re.sub(f"^{SPACE}+|{SPACE}+$", "", typed.translate(PLAIN))


def _thousands(decimal_sign: str) -> str:
    if decimal_sign not in (".", ","):
        raise ValueError(f"A decimal sign is a point or a comma, not {decimal_sign!r}.")
    return "," if decimal_sign == "." else "."


@cache
def _registry() -> "UnitRegistry[Decimal]":
    # Imported here, so that whoever reads only plain numbers does not wait for pint.
    import pint

    registry: UnitRegistry[Decimal] = pint.UnitRegistry(None, non_int_type=Decimal)
    for definition in DEFINITIONS:
        registry.define(definition)
    return registry

"""How text is made alike for finding, and what a person may mean by what they typed; pure."""

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal

from inventory.shared import typed
from inventory.shared.findable import SearchWords
from inventory.shared.money import SYMBOLS
from inventory.stock import typed_codes

TYPED_MAX = 80
# The shortest part that an index of three letters finds.
PART_MIN = 3
WORDS_MAX = 6
CODE_MAX = 100
# Digits of a telephone number that are told from a short number.
PHONE_MIN = 4
# No document comes to more.
CENTS_MAX = 10**13
# What people write between the digits of a telephone number.
BETWEEN_DIGITS = re.compile(r"[\s()+./\-]")
# "R26-00012", "r26 12": the letter and year of a series, and the number.
SERIES = re.compile(r"([a-z]{1,2}\d{2}(?:\d{2})?)[-\s]+0*(\d{1,9})")
SERIES_WIDTHS = (3, 4, 5)


@dataclass(frozen=True)
class SearchQuestion:
    """What was typed, read in every way it may be meant.

    `codes` are whole codes, `words` parts that must all be there, `digits` a part of a telephone
    number, `cents` an amount.
    """

    typed: str
    codes: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    digits: str = ""
    cents: int | None = None

    @property
    def text(self) -> str:
        return " ".join(self.words)

    @property
    def is_short(self) -> bool:
        """Whether no part of it is long enough to look inside of words."""
        return not any(len(word) >= PART_MIN for word in self.words)

    @property
    def phone_part(self) -> str:
        """The digits where they are not just what was typed."""
        return self.digits if self.digits != self.text else ""


def fold(text: str) -> str:
    """Return text in small letters, without accents and with single spaces.

    >>> fold("  Peña  & Ávila ")
    'pena & avila'
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(sign for sign in apart if not unicodedata.combining(sign))
    return " ".join(plain.replace("\x00", "").split())


def digits_of(text: str) -> str:
    return re.sub(r"[^0-9]", "", text)


def code_of(text: str) -> str:
    """Return a code as it is compared; one of digits alone has no leading zeros, as a GTIN."""
    folded = fold(text)[:CODE_MAX]
    return (folded.lstrip("0") or folded) if folded.isdecimal() else folded


def text_of(found: SearchWords) -> str:
    """Return all that a thing is found by, a line each."""
    folded = [fold(part) for part in (*found.codes, *found.words)]
    folded += [digits_of(phone) for phone in found.phones]
    return "\n".join(dict.fromkeys(part for part in folded if part))


def read(asked: str, *, decimal_sign: str, currency: str) -> SearchQuestion:
    """Return what a person may mean, in every way it may be read."""
    asked = asked.replace("\x00", "").strip()[:TYPED_MAX]
    folded = fold(asked)
    if not folded:
        return SearchQuestion(asked)
    code = typed_codes.read(asked)
    spellings = {code_of(each) for each in code.spellings} | {code_of(asked)}
    if series := SERIES.fullmatch(folded):
        letter, number = series[1], int(series[2])
        spellings |= {f"{letter}-{number:0{width}d}" for width in SERIES_WIDTHS}
    is_phone = not BETWEEN_DIGITS.sub("", folded).strip("0123456789")
    digits = digits_of(folded) if is_phone else ""
    return SearchQuestion(
        asked,
        codes=tuple(sorted(spellings)),
        words=tuple(dict.fromkeys(fold(code.code).split()))[:WORDS_MAX],
        digits=digits if len(digits) >= PHONE_MIN else "",
        cents=cents_of(asked, decimal_sign=decimal_sign, currency=currency),
    )


def cents_of(asked: str, *, decimal_sign: str, currency: str) -> int | None:
    """Return an amount of money in the house's number style in cents; None for anything else.

    >>> cents_of("$1,284.50", decimal_sign=".", currency="USD")
    128450
    """
    bare = asked.strip()
    for sign in sorted({SYMBOLS.get(currency, ""), currency} - {""}, key=len, reverse=True):
        if bare.casefold().startswith(sign.casefold()):
            bare = bare[len(sign) :].strip()
            break
        if bare.casefold().endswith(sign.casefold()):
            bare = bare[: -len(sign)].strip()
            break
    if "/" in bare:
        return None
    try:
        number = abs(typed.read_number(bare, decimal_sign=decimal_sign))
    except typed.Mistyped:
        return None
    cents = number * 100
    return int(cents) if cents == int(cents) and 0 < cents < Decimal(CENTS_MAX) else None

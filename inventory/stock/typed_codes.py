"""What somebody means by a code that was typed, read from a label, or scanned."""

import re
from dataclasses import dataclass

# GS1-128: (01) GTIN, (15) best before, (10) lot, as the text below our bar code has it, and as a
# scanner types it, perhaps with its mark of the kind of code (GS1 General Specifications, from
# memory).
_PRINTED = re.compile(r"(?:\(01\)(?P<gtin>\d{14}))?(?:\(15\)\d{6})?\(10\)(?P<lot>[^()]{1,20})")
_SCANNED = re.compile(r"(?:\]C1)?01(?P<gtin>\d{14})(?:15\d{6})?10(?P<lot>.{1,20})")


@dataclass(frozen=True)
class TypedCode:
    """The code itself, and the GTIN that a bar code names with it."""

    code: str
    gtin: str = ""

    @property
    def spellings(self) -> set[str]:
        """The code as it was typed, in capital letters, and with hyphens for spaces."""
        hyphened = "-".join(self.code.split())
        return {self.code, self.code.upper(), hyphened, hyphened.upper()}


def read(typed: str) -> TypedCode:
    """Return what was typed without what a bar code puts around a lot code.

    >>> read("(01)09501101530003(15)281126(10)L26330-1")
    TypedCode(code='L26330-1', gtin='09501101530003')
    """
    typed = typed.strip()
    found = _PRINTED.fullmatch(typed.replace(" ", "")) or _SCANNED.fullmatch(typed)
    if found is None:
        return TypedCode(typed)
    return TypedCode(found["lot"].strip(), found["gtin"] or "")

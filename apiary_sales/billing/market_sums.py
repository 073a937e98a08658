"""How much to load for a market day, by what was sold on days like it. No rows are read here."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.shared import words

# So much more than was sold on average is suggested, so that a good day does not sell out.
MARGIN_PERCENT = 20
# So many days back are looked at.
DAYS_MAX = 3


@dataclass(frozen=True)
class Suggestion:
    """So many pieces of a product to load, and how many were sold on the days looked at."""

    pieces: int
    sold: tuple[int, ...]
    # The market, or the weekday, of which the days were.
    of: str
    per_case: int = 1

    @property
    def why(self) -> str:
        """Say where the suggestion comes from: "sold 14, 18 and 11 on the last three"."""
        return ngettext(
            "Sold %(sold)s on the last one (%(of)s).",
            "Sold %(sold)s on the last %(days)s (%(of)s).",
            len(self.sold),
        ) % {"sold": _listed(self.sold), "days": len(self.sold), "of": self.of}


def pieces_to_load(sold: Sequence[int], per_case: int) -> int:
    """Return the mean of what was sold with the margin, rounded up to whole cases.

    >>> pieces_to_load([14, 18, 11], 12)
    24
    """
    if not any(sold):
        return 0
    wanted = Fraction(sum(sold) * (100 + MARGIN_PERCENT), 100 * len(sold))
    cases = -(-wanted // per_case)
    return int(cases) * per_case


def cases_of(pieces: int, per_case: int) -> tuple[int, int]:
    """Return the whole cases, and the pieces beside them.

    >>> cases_of(30, 12)
    (2, 6)
    """
    return divmod(pieces, per_case) if per_case > 1 else (0, pieces)


def cases_in_words(pieces: int, per_case: int) -> str:
    """Write pieces in cases: "2 cases and 6"; empty for what is not kept in cases."""
    if per_case <= 1 or pieces < per_case:
        return ""
    cases, loose = cases_of(pieces, per_case)
    text = ngettext("%(cases)s case", "%(cases)s cases", cases) % {"cases": words.number(cases)}
    return _("%(cases)s and %(loose)s") % {"cases": text, "loose": loose} if loose else text


def hourly_cents(cents: int, minutes: int | None) -> int | None:
    """Return what came in an hour of work; None while nobody said how long it took."""
    return round(Fraction(cents * 60, minutes)) if minutes else None


def _listed(numbers: Sequence[int]) -> str:
    *first, last = [words.number(number) for number in numbers]
    return (
        _("%(first)s and %(last)s") % {"first": ", ".join(first), "last": last} if first else last
    )

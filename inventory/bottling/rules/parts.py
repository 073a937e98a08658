"""What a bottling run needs of each part, beside what is there."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.bottling.models import PackagingPart, UsedPart
from inventory.shared import words


@dataclass(frozen=True)
class PartNeed:
    """What a run needs of one part, beside what is there."""

    part: PackagingPart
    needed: int
    there: int

    @property
    def short(self) -> int:
        return max(0, self.needed - self.there)

    @property
    def warning(self) -> str:
        """Say what is short before the run is made; empty when nothing is."""
        if not self.short:
            return ""
        return _("%(part)s: the run needs %(needed)s. In stock: %(there)s. Missing: %(short)s.") % {
            "part": self.part.name,
            "needed": words.pieces(self.needed),
            "there": words.pieces(self.there),
            "short": words.pieces(self.short),
        }

    @property
    def notice(self) -> str:
        """Say what the books lack of what a run used up; empty when nothing is."""
        if not self.short:
            return ""
        return _(
            "The run used %(needed)s of %(part)s, but the books have only %(there)s. The rest "
            "will be to be settled."
        ) % {
            "part": self.part.name,
            "needed": words.pieces(self.needed),
            "there": words.pieces(self.there),
        }


def needs(uses: Iterable[tuple[UsedPart, int]], *, filled: int, broken: int = 0) -> list[PartNeed]:
    """Return what so many pieces need of each part of a product.

    Each part comes with how many pieces of it are there, as `Product.uses_with_stock` reads.
    """
    return [
        PartNeed(use.part, use.used_by(filled=filled, broken=broken), there) for use, there in uses
    ]


def but_labels(uses: Iterable[tuple[UsedPart, int]]) -> list[tuple[UsedPart, int]]:
    """Return the parts of jars that are labelled later."""
    return [(use, there) for use, there in uses if use.part.kind != PackagingPart.Kind.LABEL]

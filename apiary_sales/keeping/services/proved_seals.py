"""Keep up to which seal the rows of the books were compared with their seals."""

from apiary_sales.keeping.models import ProvedSeals
from inventory.stock.models import Seal


def last() -> ProvedSeals | None:
    """Return what is kept, or None where nothing is or the books do not have that seal."""
    kept = ProvedSeals.objects.order_by("pk").last()
    if kept is None or not Seal.objects.filter(number=kept.number, digest=kept.digest).exists():
        return None
    return kept


def note(seal: Seal, *, whole: bool) -> None:
    """Keep that the books are right up to this seal.

    The day is kept on which all was proved: of what was proved then and is not now.
    """
    kept = last()
    if whole or kept is None:
        kept = ProvedSeals()
    ProvedSeals.objects.update_or_create(
        pk=1,
        defaults={"number": seal.number, "digest": seal.digest, "proved_at": kept.proved_at},
    )

"""Compare the books with the seals over them."""

from collections.abc import Iterator

from inventory.shared.sealable import kinds
from inventory.stock import seal_text
from inventory.stock.models import Seal
from inventory.stock.seal_text import RowDigests

# So many rows of one seal are named; of more, that there are more.
NAMED_MAX = 20


def faults(after: int = 0) -> Iterator[str]:
    """Yield a sentence for each row that was changed, added or removed after it was sealed.

    Of the seals up to the number `after`, the rows are not compared again, only the chain. A change
    of a seal itself is told at the first one from which on the chain is broken.
    """
    begins: dict[str, int] = {}
    previous, covered = "", 0
    is_whole = True
    for number, seal in enumerate(Seal.objects.order_by("number").iterator(chunk_size=20), start=1):
        if seal.version > seal_text.VERSION:
            yield f"Seal {seal.number} was made by a later version of the service: install it."
            return
        if seal.number > after:
            sealed = seal_text.read(seal.rows)
            yield from _changed_rows(seal, begins, sealed)
            covered += len(sealed)
        else:
            covered += seal.rows.count("\n")
        if is_whole and (seal.number, seal.covered, seal.digest) != (
            number,
            covered,
            seal.digest_after(previous),
        ):
            is_whole = False
            yield (
                f"Seal {seal.number} of {seal.made_at:%Y-%m-%d} does not follow from the one "
                "before it and its rows: it was changed, or one before it was changed or removed, "
                "behind the program's back."
            )
        begins, previous = seal.last, seal.digest


def noted(text: str) -> Seal | None:
    """Return the seal that a person noted, by its digits, or None where it is not in the chain."""
    digits = seal_text.noted_digits(text)
    if digits is None:
        return None
    return Seal.objects.defer("rows").filter(digest__startswith=digits).first()


def _changed_rows(seal: Seal, begins: dict[str, int], sealed: RowDigests) -> Iterator[str]:
    there: RowDigests = {}
    for kind in kinds():
        after, until = begins.get(kind.name, 0), seal.last.get(kind.name, 0)
        for number, digest in seal_text.row_digests(kind, seal.version, after=after, until=until):
            there[kind.name, number] = digest
    titles = {kind.name: kind.title for kind in kinds()}
    differing = sorted(key for key in sealed.keys() | there if sealed.get(key) != there.get(key))
    for kind_name, number in differing[:NAMED_MAX]:
        key = kind_name, number
        what = "added" if key not in sealed else "removed" if key not in there else "changed"
        yield (
            f"{titles.get(kind_name, kind_name)} {number} was {what} behind the program's back: it "
            f"is not as seal {seal.number} of {seal.made_at:%Y-%m-%d} has it."
        )
    if len(differing) > NAMED_MAX:
        yield f"So were {len(differing) - NAMED_MAX:,} more rows of seal {seal.number}."

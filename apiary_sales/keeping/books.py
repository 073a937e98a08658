"""Prove all books, as `manage.py verify_ledger` does."""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import islice

from apiary_sales.billing.queries import books as money_books
from apiary_sales.billing.queries import journal, purchase_books
from apiary_sales.keeping import triggers
from apiary_sales.keeping.one_state import reading
from apiary_sales.keeping.queries import noted_seals
from apiary_sales.orders.queries import books as order_books
from inventory.bottling.queries import part_closings
from inventory.stock.queries import books as stock_books
from inventory.stock.queries import seals

# So many faults of one proof are told; of more, that there are more.
TOLD_MAX = 100

Proof = Callable[[], Iterator[str]]
# What tells of this database, and not of the books in it.
OF_THE_DATABASE: tuple[Proof, ...] = (triggers.faults, noted_seals.faults)


def proofs(*, whole: bool = True, proved_until: int = 0) -> tuple[Proof, ...]:
    """Return all proofs of the books; each yields a sentence for each fault that it finds.

    Without the `whole`, the rows of seals up to the number `proved_until` are not compared again,
    and the journal is not worked out anew from its first line.
    """
    return (
        *stock_books.PROOFS,
        part_closings.faults,
        *order_books.PROOFS,
        *money_books.PROOFS,
        *purchase_books.PROOFS,
        *journal.PROOFS,
        *((journal.worked_out_anew,) if whole else ()),
        partial(seals.faults, after=0 if whole else proved_until),
        *OF_THE_DATABASE,
    )


def prove(wanted: tuple[Proof, ...]) -> list[str]:
    """Return what is wrong with the books, as one state of them shows, while people go on working.

    A proof that finds a fault is made again in a later state, and what that one says counts: what
    is gone by then was passing.
    """
    with reading():
        doubted = [proof for proof in wanted if _finds_anything(proof)]
    if not doubted:
        return []
    with reading():
        return [fault for proof in doubted for fault in _first(proof)]


def faults() -> Iterator[str]:
    """Yield a sentence for each thing in the books that its lines do not prove.

    What the database refuses is left out: books that are just brought in are proved before it
    refuses to change them.
    """
    for proof in proofs():
        if proof not in OF_THE_DATABASE:
            yield from proof()


def _finds_anything(proof: Proof) -> bool:
    return next(iter(proof()), None) is not None


def _first(proof: Proof) -> Iterator[str]:
    found = iter(proof())
    yield from islice(found, TOLD_MAX)
    if next(found, None) is not None:
        yield f"There are more than {TOLD_MAX} faults like the last one; the others are not listed."

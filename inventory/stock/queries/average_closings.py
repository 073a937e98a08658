"""Prove the kept averages: work each out again from the whole history of its item."""

from collections.abc import Iterable, Iterator, Mapping

from inventory.stock import costing
from inventory.stock.costing import AverageState
from inventory.stock.models import Item, PostingLine


def faults() -> Iterator[str]:
    """Yield a sentence for each closing that the lines and the costs of lots do not prove."""
    items = Item.objects.exclude(kind=Item.Kind.PART).filter(average_closings__isnull=False)
    for item in items.order_by("pk").distinct():
        kept = {
            closing.posting_id: closing.average.state for closing in item.average_closings.all()
        }
        history = PostingLine.objects.changes_at_cost([item.pk])
        states = costing.states_of(costing.AverageCost(), history)
        yield from unproved(f"item {item.pk}", kept, states)


def unproved(
    thing: str, kept: Mapping[int, AverageState], states: Iterable[tuple[int, AverageState]]
) -> Iterator[str]:
    """Yield a sentence for each state kept at a posting that is not what the history gives."""
    left = dict(kept)
    for posting, state in states:
        wrong = left.pop(posting, state) != state
        if wrong:
            yield (
                f"The average cost of {thing} kept at posting {posting} is not what its "
                "history gives. Run manage.py rebuild_derived."
            )
    for posting in sorted(left):
        yield (
            f"An average cost of {thing} is kept at posting {posting}, which counts no more. "
            "Run manage.py rebuild_derived."
        )

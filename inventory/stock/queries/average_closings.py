"""Prove the kept averages: work each out again from the whole history of its item."""

from collections.abc import Iterator

from inventory.stock import costing
from inventory.stock.models import AverageClosing, PostingLine


def faults() -> Iterator[str]:
    """Yield a sentence for each closing that the lines and the costs of lots do not prove."""
    items = AverageClosing.objects.order_by("item").values_list("item", flat=True).distinct()
    for item in list(items):
        yield from _faults_of(item)


def _faults_of(item: int) -> Iterator[str]:
    kept = {
        closing.posting_id: closing.average.state
        for closing in AverageClosing.objects.filter(item=item)
    }
    history = PostingLine.objects.changes_at_cost([item])
    for posting, state in costing.states_of(costing.AverageCost(), history):
        wrong = kept.pop(posting, state) != state
        if wrong:
            yield (
                f"The average cost of item {item} kept at posting {posting} is not what its "
                "history gives. Run manage.py rebuild_derived."
            )
    for posting in sorted(kept):
        yield (
            f"An average cost of item {item} is kept at posting {posting}, which counts no more. "
            "Run manage.py rebuild_derived."
        )

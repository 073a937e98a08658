"""What changed between the start and the finish of a recall, from the two answers it keeps."""

from collections import Counter
from dataclasses import dataclass

from apiary_sales.orders.models import Recall
from apiary_sales.orders.queries import recall as answers
from apiary_sales.orders.queries.recall import BackRow, LotAccount, RecallAnswer


@dataclass(frozen=True)
class RecallProgress:
    """The answers at the start and at the finish of a recall."""

    start: RecallAnswer
    finish: RecallAnswer

    @property
    def back(self) -> list[BackRow]:
        """What came back in between, as it was put away."""
        return list((Counter(self.finish.back) - Counter(self.start.back)).elements())

    @property
    def held(self) -> list[LotAccount]:
        """The lots that were put on hold in between and are on hold at the finish."""
        before = {lot.pk for lot in self.start.on_hold}
        return [lot for lot in self.finish.on_hold if lot.pk not in before]

    @property
    def released(self) -> list[LotAccount]:
        """The lots that were on hold at the start and are not at the finish."""
        before = {lot.pk for lot in self.start.on_hold}
        return [lot for lot in self.finish.not_on_hold if lot.pk in before]


def of(record: Recall) -> RecallProgress | None:
    """Return what a finished recall keeps; None where it keeps no answer of its finish."""
    if record.answer_at_finish is None:
        return None
    return RecallProgress(
        answers.from_json(record.answer), answers.from_json(record.answer_at_finish)
    )

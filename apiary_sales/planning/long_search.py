"""A search for the plan that takes minutes: long work, whose answer is kept for who asked.

The page of the plan searches for a few seconds. With many vessels and products that may not prove
the best plan; this searches in rounds, each longer than the last, until one does, or until no plan
can earn a thousandth more.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from typing import Any
from urllib.parse import urlencode

from django.db import transaction
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.accounts.models import User
from apiary_sales.planning.asked import PlanForms
from apiary_sales.planning.programme import Answer, Programme
from apiary_sales.planning.programme.plan import Plan
from inventory.shared import conventions, work_files
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import LongWork
from inventory.shared.services import long_work

KIND = "plan"
# A search can't be stopped within a round.
ROUNDS_SECONDS = (10.0, 20.0, 40.0, 80.0, 120.0)


def begin(*, query: Mapping[str, str], started_by: User) -> LongWork:
    """Begin to search for the best plan with the figures of an address."""
    figures = {name: value for name, value in query.items() if name != "kept"}
    with transaction.atomic():
        work = long_work.begin(
            kind=KIND, title=_("Bottling plan"), total=len(ROUNDS_SECONDS), started_by=started_by
        )
        search.enqueue(work.pk, figures, translation.get_language())
    return work


@task()
def search(work_id: int, figures: dict[str, str], language: str) -> None:
    """Search until the best plan is proven or close to it, or the rounds are over."""
    conventions.read_again()
    with translation.override(language), long_work.progress(work_id) as work:
        work.check_stop()
        question = PlanForms.filled(figures).question
        if question is None:
            raise NotAllowedNow(_("The figures of the plan are not right. Look at them again."))
        for rounds, seconds in enumerate(ROUNDS_SECONDS, start=1):
            best = question.best(seconds)
            if best.is_proven or best.is_close:
                break
            work.advance(rounds, total=len(ROUNDS_SECONDS))
        work_files.keep(work.work, "plan.json", _written(best, question.programme))
        address = urlencode({**figures, "kept": work_id})
        work.result_url = f"{reverse('planning:plan')}?{address}"


def read(work: LongWork, programme: Programme) -> Answer | None:
    """Return the answer that was kept; None where the books or figures are others by now."""
    path = work_files.path_of(work)
    if path is None:
        return None
    kept = json.loads(path.read_text())
    # An answer of an earlier version has another digest, for a programme has more figures now.
    if kept["programme"] != _digest(programme):
        return None
    plan = Plan(
        programme,
        pieces={(vessel, product): count for vessel, product, count in kept["pieces"]},
        drums=kept["drums"],
        sold=kept["sold"],
        whole=frozenset(kept["whole"]),
    )
    return Answer(plan, kept["is_proven"], Fraction(kept["cents_at_most"]), kept["is_bound_exact"])


def _written(answer: Answer, programme: Programme) -> bytes:
    plan = answer.plan
    kept = {
        "programme": _digest(programme),
        "pieces": [[*key, count] for key, count in plan.pieces.items()],
        "drums": dict(plan.drums),
        "sold": dict(plan.sold),
        "whole": sorted(plan.whole),
        "is_proven": answer.is_proven,
        "cents_at_most": str(answer.cents_at_most),
        "is_bound_exact": answer.is_bound_exact,
    }
    return json.dumps(kept).encode()


def _digest(programme: Programme) -> str:
    return hashlib.sha256(json.dumps(_plain(programme)).encode()).hexdigest()


def _plain(value: Any) -> Any:
    """Return what a value is made of, in one order in every process."""
    if is_dataclass(value):
        return [_plain(getattr(value, each.name)) for each in fields(value)]
    if isinstance(value, Mapping):
        return [[_plain(key), _plain(held)] for key, held in value.items()]
    if isinstance(value, frozenset):
        return sorted(repr(each) for each in value)
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return repr(value)

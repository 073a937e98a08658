"""Make the draft runs of a plan."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadValue
from inventory.models import BottlingRun, ContainerSize, Place
from inventory.services import runs

# A plan with more runs than this was not made on a page.
RUNS_MAX = 200


@dataclass(frozen=True)
class DraftRun:
    """So many pieces of a size, to be filled from a vessel."""

    source: Place
    container: ContainerSize
    pieces: int


@transaction.atomic
def make_draft_runs(
    *,
    drafts: Sequence[DraftRun],
    target: Place,
    planned_for: date,
    planned_by: Any,
    key: str,
) -> list[BottlingRun]:
    """Plan every run of a bottling plan, or none of them; return the planned runs.

    Nothing leaves the books: each run is recorded later, or dropped. Raises `BadValue` without any
    run, `AlreadyRecorded` when the same plan was sent before, and whatever `runs.plan` refuses:
    honey may have been sold since the plan was worked out.
    """
    if not drafts:
        raise BadValue(_("The plan fills no jars, so there are no runs to make."))
    if len(drafts) > RUNS_MAX:
        raise BadValue(
            _("%(count)s runs are too many to make at once. Give the plan fewer vessels.")
            % {"count": len(drafts)}
        )
    return [
        runs.plan(
            container=draft.container,
            source=draft.source,
            target=target,
            pieces=draft.pieces,
            planned_for=planned_for,
            planned_by=planned_by,
            key=f"{key}-{number}",
            note=_("From the bottling plan"),
        )
        for number, draft in enumerate(drafts, start=1)
    ]

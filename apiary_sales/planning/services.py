"""Make the draft runs of a plan."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, ContainerSize
from inventory.bottling.services import runs
from inventory.shared import words
from inventory.shared.errors import BadValue
from inventory.stock.models import Item, Place
from inventory.stock.services import ledger

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
    newest_seen: int,
) -> list[BottlingRun]:
    """Plan every run of a bottling plan, or none of them; return the planned runs.

    `newest_seen` is the key of the newest planned run that the plan had set aside, 0 without any.

    Nothing leaves the books: each run is recorded later, or dropped. Raises `BadValue` without any
    run, or when somebody planned the same size from the same vessel since; `AlreadyRecorded` when
    the same plan was sent before; and whatever `runs.plan` refuses: honey may have been sold since
    the plan was worked out.
    """
    if not drafts:
        raise BadValue(_("The plan fills no jars, so there are no runs to make."))
    if len(drafts) > RUNS_MAX:
        raise BadValue(
            _("%(count)s runs are too many to make at once. Give the plan fewer vessels.")
            % {"count": len(drafts)}
        )
    ledger.lock_items([Item.objects.honey()])
    _check_planned_since(drafts, newest_seen, key)
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


def _check_planned_since(drafts: Sequence[DraftRun], newest_seen: int, key: str) -> None:
    """Refuse to fill again what another person planned while the plan lay on the screen."""
    wanted = {(draft.source.pk, draft.container.pk) for draft in drafts}
    since = (
        BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED, pk__gt=newest_seen)
        # The runs of this plan, sent twice, are told by `runs.plan`.
        .exclude(idempotency_key__startswith=f"{key}-")
        .select_related("source", "container")
        .order_by("pk")
    )
    same = [run for run in since if (run.source_id, run.container_id) in wanted]
    if same:
        raise BadValue(
            _(
                "Somebody planned the same since this plan was worked out: %(runs)s. "
                "They are set aside in the plan below. Make its runs if you want more."
            )
            % {
                "runs": ", ".join(
                    _("%(pieces)s of %(size)s from %(vessel)s")
                    % {
                        "pieces": words.pieces(run.pieces_planned),
                        "size": run.container.name,
                        "vessel": run.source.name,
                    }
                    for run in same
                )
            }
        )

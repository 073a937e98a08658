"""Make the draft runs of a plan."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.services import runs
from inventory.shared import words
from inventory.shared.errors import BadValue, HouseError
from inventory.shared.people import Person
from inventory.stock.models import Item, Place
from inventory.stock.services import ledger

# A plan with more runs than this was not made on a page.
RUNS_MAX = 200
# The parameters of `runs.plan` that a draft gives.
OF_ONE_RUN = ("source", "product", "pieces", "variety_is_right", "moisture_is_right")


@dataclass(frozen=True)
class DraftRun:
    """So many pieces of a product, to be filled from a vessel."""

    source: Place
    product: Product
    pieces: int


@transaction.atomic
def make_draft_runs(
    *,
    drafts: Sequence[DraftRun],
    target: Place,
    planned_for: date,
    planned_by: Person,
    key: str,
    newest_seen: int,
    moisture_is_right: bool = False,
) -> list[BottlingRun]:
    """Plan every run of a bottling plan, or none of them; return the planned runs.

    `newest_seen` is the key of the newest planned run that the plan had set aside, 0 without any;
    `moisture_is_right` confirms honey above the house's own limit of moisture.

    Nothing leaves the books: each run is recorded later, or dropped. Raises `BadValue` without any
    run, or when somebody planned the same product from the same vessel since; `AlreadyRecorded`
    when the same plan was sent before; and whatever `runs.plan` refuses, for honey may have been
    sold since the plan was worked out. What is wrong with one run names the parameter
    `drafts.<position>.<name>`, positions counted from 0.
    """
    if not drafts:
        raise BadValue(
            _("The plan fills no jars, so there are no runs to make."), parameter="drafts"
        )
    if len(drafts) > RUNS_MAX:
        raise BadValue(
            _("%(count)s runs are too many to make at once. Use fewer vessels in the plan.")
            % {"count": len(drafts)},
            parameter="drafts",
        )
    ledger.lock_items([Item.objects.honey()])
    _check_planned_since(drafts, newest_seen, key)
    return [
        _plan(
            index,
            draft,
            target=target,
            planned_for=planned_for,
            planned_by=planned_by,
            key=f"{key}-{index + 1}",
            moisture_is_right=moisture_is_right,
        )
        for index, draft in enumerate(drafts)
    ]


def _plan(
    index: int,
    draft: DraftRun,
    *,
    target: Place,
    planned_for: date,
    planned_by: Person,
    key: str,
    moisture_is_right: bool,
) -> BottlingRun:
    try:
        return runs.plan(
            product=draft.product,
            source=draft.source,
            target=target,
            pieces=draft.pieces,
            planned_for=planned_for,
            planned_by=planned_by,
            key=key,
            note=_("From the bottling plan"),
            moisture_is_right=moisture_is_right,
        )
    except HouseError as error:
        for problem in error.problems:
            if problem.parameter in OF_ONE_RUN:
                problem.parameter = f"drafts.{index}.{problem.parameter}"
        raise


def _check_planned_since(drafts: Sequence[DraftRun], newest_seen: int, key: str) -> None:
    """Refuse to fill again what another person planned while the plan was on the screen."""
    wanted = {(draft.source.pk, draft.product.pk) for draft in drafts}
    since = (
        BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED, pk__gt=newest_seen)
        # `runs.plan` refuses the runs of this plan when they are sent twice.
        .exclude(idempotency_key__startswith=f"{key}-")
        .select_related("source", "product")
        .order_by("pk")
    )
    same = [run for run in since if (run.source_id, run.product_id) in wanted]
    if same:
        raise BadValue(
            _(
                "Somebody has planned the same runs since this plan was worked out: "
                "%(runs)s. The plan below already allows for them. If you still want more, "
                "make the runs below."
            )
            % {
                "runs": ", ".join(
                    _("%(pieces)s of %(product)s from %(vessel)s")
                    % {
                        "pieces": words.pieces(run.pieces_planned),
                        "product": run.product.name,
                        "vessel": run.source.name,
                    }
                    for run in same
                )
            },
            parameter="drafts",
        )

"""Make the draft runs of a plan; keep what the owner expects of the season."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.rules.demand import Outlook
from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.services import runs
from inventory.shared import checks, words
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, Problems
from inventory.shared.people import Person
from inventory.stock.models import Item, Place
from inventory.stock.services import ledger

# A plan with more runs than this was not made on a page.
RUNS_MAX = 200
# A month has no more hours than this, whoever works.
HOURS_MAX = 10_000
# Ten thousand tonnes: a slip of the finger.
GRAMS_MAX = 10_000_000_000
PRICE_MAX = 1_000
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


@transaction.atomic
def save_season_outlook(
    *,
    outlook: str,
    kept_per_pound: Decimal | None,
    storage_per_pound: Decimal | None,
    interest_percent: Decimal | None,
    drum_month_grams: int | None,
    drum_year_grams: int | None,
    harvest_month: int | None,
    harvest_grams: int | None,
    harvest_spread_grams: int | None,
    room_grams: int | None,
    hours: Decimal | None,
    hours_by_month: Mapping[int, Decimal],
    changed_by: Person,
    version: int | None = None,
) -> SeasonOutlook:
    """Keep what the owner expects of the season; None is taken from the books, or is not known.

    Prices are of the house's unit of weight. `hours_by_month` has the hours of the months (1 to 12)
    that differ from `hours`. `version` is the one that was looked at, 0 for none.
    Raises `BadValue` for figures that cannot be, and `NotAllowedNow` where somebody else has
    changed them since.
    """
    problems = Problems()
    if outlook not in Outlook.values:
        problems.add("outlook", _("Choose how to use past sales."))
    typed_prices = {"kept_per_pound": kept_per_pound, "storage_per_pound": storage_per_pound}
    for name, price in typed_prices.items():
        if price is not None and not 0 <= price <= PRICE_MAX:
            problems.add(name, _("Enter a price from 0 to 1,000."))
    if interest_percent is not None and not 0 <= interest_percent <= 100:
        problems.add("interest_percent", _("Enter a percentage from 0 to 100."))
    weights = {
        "drum_month_grams": drum_month_grams,
        "drum_year_grams": drum_year_grams,
        "harvest_grams": harvest_grams,
        "harvest_spread_grams": harvest_spread_grams,
        "room_grams": room_grams,
    }
    for name, grams in weights.items():
        if grams is not None and not 0 <= grams <= GRAMS_MAX:
            problems.add(name, _("Check the weight and its unit: it is too much."))
    if harvest_month is not None and not 1 <= harvest_month <= 12:
        problems.add("harvest_month", _("Choose a month."))
    if harvest_month is not None and harvest_grams is None:
        problems.add("harvest_grams", _("Enter how much honey you expect from that month on."))
    of_months = {f"hours_{month}": each for month, each in hours_by_month.items()}
    for name, each in {"hours": hours, **of_months}.items():
        if each is not None and not 0 <= each <= HOURS_MAX:
            problems.add(name, _("Enter hours from 0 to 10,000."))
    problems.raise_any()
    row = SeasonOutlook.objects.select_for_update().filter(pk=1).first() or SeasonOutlook(pk=1)
    if version is not None and row.version != version and row.changed_by_id != changed_by.pk:
        raise NotAllowedNow(
            _(
                "%(person)s has changed what you expect of the season in the meantime. Open the "
                "season plan again, and add your figures there."
            )
            % {"person": row.changed_by.display_name if row.changed_by else _("Somebody")}
        )
    row.outlook = outlook
    row.kept_per_pound, row.storage_per_pound = kept_per_pound, storage_per_pound
    row.interest_percent = interest_percent
    row.drum_month_grams, row.drum_year_grams = drum_month_grams, drum_year_grams
    row.harvest_month, row.harvest_grams = harvest_month, harvest_grams
    row.harvest_spread_grams, row.room_grams = harvest_spread_grams, room_grams
    row.hours = hours
    row.hours_by_month = {str(month): str(each) for month, each in sorted(hours_by_month.items())}
    row.changed_by_id, row.changed_at = changed_by.pk, timezone.now()
    checks.save_checked(row)
    return row

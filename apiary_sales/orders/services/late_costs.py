"""Give goods that were sold without a known cost the cost that is known now, and undo that."""

from collections.abc import Iterable, Mapping

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.orders.late_cost_models import LateCost, LateCosting
from apiary_sales.orders.late_costs import costs_known_now, sold_without_cost
from apiary_sales.orders.models import FulfilmentLine, GoodsReturn, Order, OrderLine
from apiary_sales.orders.rules.returns import costs_of_returns
from apiary_sales.orders.services import fulfilments
from inventory.shared import words
from inventory.shared.checks import check_total
from inventory.shared.errors import BadValue, FiguresChanged, NotAllowedNow
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.models import Item
from inventory.stock.services import ledger


@transaction.atomic
def cost(
    *,
    season: int | None = None,
    expected_total_cents: int | None = None,
    expected_lines: int | None = None,
    recorded_by: Person,
    key: str,
) -> LateCosting:
    """Cost what was sold without a known cost, as of the day it was sold; return the record.

    A line gets what hand-over would have given it had the cost been known then; a known cost is
    never changed, and what came back of it gets its share. With a `season`, only what has honey of
    that season in it. In the journal a cost counts on the day of the sale or, where its books are
    closed, on the first open day. `expected_total_cents` and `expected_lines` are the cost and the
    number of lines that were shown.
    Raises `BadValue`, `FiguresChanged`, `NotAllowedNow` when no cost is known yet,
    `AlreadyRecorded`.
    """
    if season is not None and not 1900 <= season <= 2200:
        raise BadValue(_("Enter the season as a year, for example 2026."), parameter="season")
    rows = _locked(line.goods.pk for line in sold_without_cost(season).known)
    refuse_repeat(LateCosting, key)
    costs = costs_known_now([row for row in rows if _is_without_cost(row)])
    _check_shown(costs, expected_total_cents, expected_lines)
    if not costs:
        raise NotAllowedNow(
            _("Nothing that was sold without a cost has one by now. Enter the costs first.")
        )
    made = LateCosting.objects.create(season=season, recorded_by=recorded_by, idempotency_key=key)
    LateCost.objects.bulk_create(
        LateCost(costing=made, fulfilment_line_id=row.pk, cost_cents=costs[row.pk])
        for row in rows
        if row.pk in costs
    )
    _write([row for row in rows if row.pk in costs], costs)
    return made


@transaction.atomic
def undo(*, costing: LateCosting, recorded_by: Person, key: str) -> LateCosting:
    """Let the goods of a late costing be without a known cost again; return the record of that.

    What came back of them has none again either, whenever it came back.
    Raises `NotAllowedNow` for what was undone or undoes another, `AlreadyRecorded`.
    """
    late = dict(costing.lines.values_list("fulfilment_line", "cost_cents"))
    rows = _locked(late)
    refuse_repeat(LateCosting, key)
    if not LateCosting.objects.standing().filter(pk=costing.pk).exists():
        raise NotAllowedNow(_("This was undone already."))
    made = LateCosting.objects.create(undoes=costing, recorded_by=recorded_by, idempotency_key=key)
    _write(rows, {})
    return made


def _check_shown(
    costs: Mapping[int, int], expected_total_cents: int | None, expected_lines: int | None
) -> None:
    """Raise `FiguresChanged` when other costs, or others in number, would be written than shown."""
    total, lines = sum(costs.values()), len(costs)
    if expected_lines is not None and expected_lines != lines:
        raise FiguresChanged(
            ngettext(
                "The figures have changed: %(now)s line can be costed now, for %(cost)s, and "
                "%(shown)s was shown. Look at the new figures, and try again.",
                "The figures have changed: %(now)s lines can be costed now, for %(cost)s, and "
                "%(shown)s was shown. Look at the new figures, and try again.",
                lines,
            )
            % {"now": lines, "cost": words.money(total), "shown": expected_lines},
            parameter="expected_lines",
            now=lines,
            shown=expected_lines,
        )
    check_total(total, expected_total_cents)


def _is_without_cost(row: FulfilmentLine) -> bool:
    """Tell whether it still is, now that it is locked."""
    return row.cost_cents is None and not row.fulfilment.is_taken_back


def _locked(keys: Iterable[int]) -> list[FulfilmentLine]:
    """Lock the orders, then the goods, of these lines and return them as they are now."""
    keys = list(keys)
    orders = Order.objects.filter(fulfilments__lines__in=keys).values("pk")
    list(Order.objects.select_for_update().filter(pk__in=orders).order_by("pk"))
    rows = list(
        FulfilmentLine.objects.filter(pk__in=keys)
        .select_related("fulfilment", "lot", "order_line__product__item", "order_line__service")
        .prefetch_related("returns")
        .order_by("id")
    )
    products = {row.order_line.product.item for row in rows if row.order_line.product}
    ledger.lock_items([Item.objects.honey(), *products])
    return rows


def _write(rows: list[FulfilmentLine], costs: Mapping[int, int]) -> None:
    """Give these lines and what came back of them their costs, None for those without one."""
    back: list[GoodsReturn] = []
    for row in rows:
        row.cost_cents = costs.get(row.pk)
        returns = list(row.returns.all())
        shares: list[int | None] = [None] * len(returns)
        if row.cost_cents is not None:
            shares = [
                *costs_of_returns(row.cost_cents, row.quantity, [each.quantity for each in returns])
            ]
        for each, share in zip(returns, shares, strict=True):
            each.cost_cents = share
        row.returned_cost_cents = sum(each.cost_cents or 0 for each in returns if each.is_fit)
        back += returns
    FulfilmentLine.objects.bulk_update(rows, ["cost_cents", "returned_cost_cents"], batch_size=500)
    GoodsReturn.objects.bulk_update(back, ["cost_cents"], batch_size=500)
    fulfilments.update_lines(OrderLine.objects.filter(pk__in={row.order_line_id for row in rows}))

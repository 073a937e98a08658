"""What extractions and bought honey cost, and what follows for every lot made of them."""

from collections.abc import Mapping

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import BottlingRun
from inventory.bottling.rules import costs as rules
from inventory.bottling.services import additions
from inventory.shared import words
from inventory.shared.errors import BadValue, NotAllowedNow, parameters_named
from inventory.stock import rules as stock_rules
from inventory.stock.models import Item, Lot, LotParent
from inventory.stock.services import ledger

# What comes into the house has a cost of its own; what is made of it, the cost of its parts.
HAVE_A_COST = (Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT)
# More than any extraction costs; a figure above it is a slip of the finger.
COST_CENTS_MAX = 100_000_000


def set_lot_cost(*, lot: Lot, cost_cents: int | None) -> list[Lot]:
    """Set what one extraction or purchase cost, None when nobody knows; see `set_lot_costs`."""
    with parameters_named(costs="cost_cents"):
        return set_lot_costs({lot: cost_cents})


@transaction.atomic
def set_lot_costs(costs: Mapping[Lot, int | None]) -> list[Lot]:
    """Set what extractions and purchases cost, and work out again every lot made of them.

    Return the lots whose cost is now another, oldest first. A blend costs the shares of its
    parents; a packed lot its honey with the parts and labour of its run; where a parent's cost is
    unknown, so is theirs. What was sold keeps the cost it was sold at.
    Raises `NotAllowedNow` for a lot made from others or that belongs to another beekeeper,
    `BadValue` for an absurd cost.
    """
    for lot, cost_cents in costs.items():
        _check(lot, cost_cents)
    ledger.lock_items([Item.objects.honey()])
    family = _family(costs)
    links = _links(family)
    runs = {run.packed_lot_id: run for run in BottlingRun.objects.filter(packed_lot__in=family)}
    given = {lot.pk: cost_cents for lot, cost_cents in costs.items()}
    changed = []
    # A parent is made before its children, so its cost is known by the time it is needed.
    for key in sorted(family):
        lot = family[key]
        if key in given:
            cost_cents = given[key]
        elif lot.kind == Lot.Kind.BLEND:
            cost_cents = stock_rules.cost_cents(links.get(key, []))
        elif key in runs:
            cost_cents = _packed_cost(runs[key], links[key])
        else:
            continue
        if lot.cost_cents != cost_cents:
            lot.cost_cents = cost_cents
            lot.save(update_fields=["cost_cents"])
            changed.append(lot)
    return changed


def _check(lot: Lot, cost_cents: int | None) -> None:
    if not lot.is_ours:
        raise NotAllowedNow(
            _("Lot %(lot)s belongs to %(owner)s, so it has no cost of yours.")
            % {"lot": lot.code, "owner": lot.owner}
        )
    if lot.kind not in HAVE_A_COST:
        raise NotAllowedNow(
            _(
                "The cost of %(lot)s is worked out from the lots it was made from. Enter "
                "the cost of those lots instead."
            )
            % {"lot": lot.code}
        )
    if cost_cents is not None and not 0 <= cost_cents <= COST_CENTS_MAX:
        raise BadValue(
            _("Enter the cost of the whole lot %(lot)s, from 0 to %(most)s.")
            % {"lot": lot.code, "most": words.money(COST_CENTS_MAX)},
            parameter="costs",
        )


def _family(roots: Mapping[Lot, int | None]) -> dict[int, Lot]:
    """Return these lots and everything made of them, by key, locked."""
    keys = {lot.pk for lot in roots}
    for lot in roots:
        keys |= {made.pk for made in lot.descendants()}
    return Lot.objects.select_for_update().order_by("pk").in_bulk(keys)


def _links(family: dict[int, Lot]) -> dict[int, list[tuple[Lot, int]]]:
    """Return, by child, its parents with the grams of each.

    Parents in the family are the same objects, so that a child sees what its parent has just got.
    """
    links: dict[int, list[tuple[Lot, int]]] = {}
    rows = LotParent.objects.filter(lot__in=family).select_related("parent").order_by("id")
    for row in rows:
        parent = family.get(row.parent_id, row.parent)
        links.setdefault(row.lot_id, []).append((parent, row.grams))
    return links


def _packed_cost(run: BottlingRun, portions: list[tuple[Lot, int]]) -> int | None:
    """Give the run the cost of the honey it drew, and return what its jars cost in all."""
    parents = {lot.pk: lot for lot, _grams in portions}
    run.honey_cents = None
    if run.drawn_grams is not None:
        # The first parent is the honey of the vessel; seed or comb comes after it.
        drawn = [(portions[0][0], run.drawn_grams), *additions.drawn_beside(run)]
        run.honey_cents = stock_rules.cost_cents(
            (parents.get(lot.pk, lot), quantity) for lot, quantity in drawn
        )
    run.save(update_fields=["honey_cents"])
    return rules.run_cents(
        honey_cents=run.honey_cents, parts_cents=run.parts_cents, labour_cents=run.labour_cents
    )

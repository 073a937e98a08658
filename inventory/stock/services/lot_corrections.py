"""Lots whose origin was told again: what they are made of, and the figures that follow from it.

The old figures stay readable in `LotCorrection`.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from inventory.shared.people import Person
from inventory.stock.models import Item, Lot, LotCorrection, LotParent, Place, Posting, PostingLine
from inventory.stock.models.lots import parents_first
from inventory.stock.services import lots
from inventory.stock.services.retelling import EntryCorrection, Retold

# What a lot has from the lots it was made of.
FOLLOWING = ("season", "floral_source", "yard", "moisture_percent", "colour_mm")
KEPT = (*FOLLOWING, "quantity_made", "made_on", "cost_cents")


def follow(retold: Retold, *, posting: Posting, person: Person) -> list[Lot]:
    """Let blends and packed lots be made of what they are made of now; return what changed."""
    before: dict[int, dict[str, Any]] = {}
    for blend, parts in retold.blends.items():
        _keep(before, [blend])
        LotParent.objects.filter(lot=blend).exclude(parent__in=parts).delete()
        for parent, grams in parts.items():
            LotParent.objects.update_or_create(
                lot_id=blend, parent_id=parent, defaults={"grams": grams}
            )
        Lot.objects.filter(pk=blend).update(quantity_made=sum(parts.values()))
    for correction in retold.corrections:
        _follow_jars(before, correction)
    if not before:
        return []
    return work_out_again(before, posting=posting, person=person)


def work_out_again(
    before: dict[int, dict[str, Any]],
    *,
    posting: Posting | None,
    person: Person,
    reason: str = "",
    since: date | None = None,
) -> list[Lot]:
    """Let these lots and all that was made of them have the figures of what they are made of.

    `before` are the figures that the lots had, by key, where they are known already. With `since`,
    only what was made on that day or later follows. Return the lots that differ.
    """
    family = set(before)
    for lot in Lot.objects.filter(pk__in=before):
        family |= {made.pk for made in lot.descendants() if since is None or made.made_on >= since}
    _keep(before, family - before.keys())
    found = Lot.objects.select_related("product").in_bulk(family)
    links: dict[int, list[tuple[Lot, int]]] = {key: [] for key in found}
    for link in LotParent.objects.filter(lot__in=found).select_related("parent").order_by("id"):
        parent = found.get(link.parent_id, link.parent)
        links[link.lot_id].append((parent, link.grams))
    for key in parents_first({key: [lot.pk for lot, _n in links[key]] for key in found}):
        _take_figures(found[key], links[key])
    changed = []
    for key, lot in found.items():
        now = figures(lot)
        old = before[key]
        if differing := [name for name in now if now[name] != old[name]]:
            LotCorrection.objects.create(
                lot=lot,
                posting=posting,
                before={name: old[name] for name in differing},
                after={name: now[name] for name in differing},
                reason=reason,
                corrected_by=person,
            )
            changed.append(lot)
    return changed


def figures(lot: Lot) -> dict[str, Any]:
    """Return what is kept of a lot when it is corrected, as text."""
    kept: dict[str, Any] = {name: _in_text(getattr(lot, name)) for name in KEPT}
    kept["parents"] = [
        [code, grams]
        for code, grams in LotParent.objects.filter(lot=lot)
        .order_by("-grams", "parent_id")
        .values_list("parent__code", "grams")
    ]
    return kept


def _in_text(value: Any) -> str | None:
    return None if value is None else str(value)


def _keep(before: dict[int, dict[str, Any]], keys: Iterable[int]) -> None:
    for lot in Lot.objects.filter(pk__in=set(keys) - before.keys()):
        before[lot.pk] = figures(lot)


def _follow_jars(before: dict[int, dict[str, Any]], correction: EntryCorrection) -> None:
    """Let the jars of a run be of the honey that went into them."""
    if correction.item.kind != Item.Kind.HONEY:
        return
    packing = Place.objects.outside(Place.Kind.PACKING).pk
    change = {lot: n for (place, lot), n in correction.change.items() if place == packing and n}
    if not change:
        return
    filled = PostingLine.objects.filter(
        posting=correction.event.posting,
        item__kind=Item.Kind.PACKED,
        quantity__gt=0,
        lot__kind=Lot.Kind.PACKED,
    )
    for key in filled.values_list("lot", flat=True).distinct():
        _keep(before, [key])
        change_parents(key, change)


def change_parents(lot: int, change: dict[int, int]) -> None:
    """Add so many grams of each parent to a lot, or take them off."""
    for parent, grams in change.items():
        link = LotParent.objects.filter(lot=lot, parent=parent).first()
        total = grams + (link.grams if link else 0)
        if link is not None and total <= 0:
            link.delete()
        elif total > 0:
            LotParent.objects.update_or_create(
                lot_id=lot, parent_id=parent, defaults={"grams": total}
            )


def _take_figures(lot: Lot, parts: list[tuple[Lot, int]]) -> None:
    of_bulk = [(parent, grams) for parent, grams in parts if parent.product_id is None and grams]
    if lot.kind == Lot.Kind.BLEND and len(of_bulk) < len(parts):
        # Honey out of jars was measured, or has what the jars had.
        return
    if lot.kind not in (Lot.Kind.BLEND, Lot.Kind.PACKED) or not parts:
        return
    if of_bulk:
        source = lots.blend_of(of_bulk, lot.made_on)
    elif len(parts) == 1:
        [(source, _grams)] = parts
    else:
        return
    changed = []
    for name in FOLLOWING:
        if name == "floral_source" and lot.is_named:
            continue
        # What was measured of the lot itself stays; beside it is kept what it would be without.
        own = f"{name}_at_first" if _is_measured(lot, name) else name
        setattr(lot, own, getattr(source, name))
        changed.append(own)
    lot.save(update_fields=changed)


def _is_measured(lot: Lot, name: str) -> bool:
    """Tell whether a blend has a measurement of its own, which no calculation replaces."""
    what = {"moisture_percent": "moisture", "colour_mm": "colour"}.get(name)
    return what is not None and (lot.measurements.filter(what=what, removed_at=None).exists())

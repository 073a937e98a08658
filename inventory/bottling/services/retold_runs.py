"""Runs follow when the honey they drew turns out to be of another lot."""

from typing import Any

from inventory.bottling.models import BottlingRun, Creaming
from inventory.bottling.services import costs
from inventory.stock.models import Item, Lot, LotParent, Place
from inventory.stock.services import held
from inventory.stock.services.retelling import EntryCorrection, Retold


def follow(*, retold: Retold, changed: list[Lot], **_signal: Any) -> None:
    """Let runs name the lot they drew, their jars have its holds, and all lots their cost."""
    for correction in retold.corrections:
        if correction.item.kind == Item.Kind.HONEY:
            _name_lots(correction)
    if not changed:
        return
    for lot in changed:
        parents = [
            link.parent for link in LotParent.objects.filter(lot=lot).select_related("parent")
        ]
        held.follow(lot, parents)
    costs.work_out_again(changed)


def _name_lots(correction: EntryCorrection) -> None:
    run = BottlingRun.objects.filter(posting=correction.event.posting).first()
    if run is None:
        return
    to_settle = Place.objects.outside(Place.Kind.TO_SETTLE).pk
    after = dict(correction.event.lines)
    for key, quantity in correction.change.items():
        after[key] = after.get(key, 0) + quantity
    drawn = _drawn_from(after, run.source_id) or _drawn_from(after, to_settle)
    if drawn and drawn != run.lot_id:
        run.lot_id = drawn
        run.save(update_fields=["lot"])
    creaming = Creaming.objects.filter(run=run, seed_source__isnull=False).first()
    if creaming and creaming.seed_source_id:
        seed = _drawn_from(after, creaming.seed_source_id)
        if seed and seed != creaming.seed_lot_id:
            creaming.seed_lot_id = seed
            creaming.save(update_fields=["seed_lot"])


def _drawn_from(lines: dict[tuple[int, int], int], place: int) -> int | None:
    """Return the lot that most was drawn of at a place; None where nothing was."""
    taken = {lot: -n for (where, lot), n in lines.items() if where == place and n < 0}
    return max(taken, key=lambda lot: taken[lot]) if taken else None

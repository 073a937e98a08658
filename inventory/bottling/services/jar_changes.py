"""What every change of jars shares: the row with its lots, and the lot that pieces are added to.

These are the parts of the acts in `jars` and `gift_boxes`, which own the transaction and the locks.
"""

from collections.abc import Mapping, Sequence
from datetime import date

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.bottling.models import (
    BottlingRun,
    ChangedPieces,
    JarChange,
    PackagingPart,
    Product,
)
from inventory.bottling.models.jars import JarChangeQuerySet
from inventory.bottling.rules import costs
from inventory.bottling.rules import jars as rules
from inventory.bottling.rules.parts import PartNeed
from inventory.bottling.services import part_closings, used_parts
from inventory.shared import checks, days
from inventory.shared.errors import CannotReverse, NotEnoughStock, Problems
from inventory.shared.people import Person
from inventory.stock.models import (
    Balance,
    Item,
    Lot,
    LotParent,
    Place,
    Posting,
    ProductionSettings,
)
from inventory.stock.services import ledger


def items_of(
    lots: Sequence[Lot], products: Sequence[Product] = (), *, honey: bool = False
) -> list[Item]:
    """Return the items that a change of these lots into these products may touch."""
    touched = [lot.product for lot in lots if lot.product] + list(products)
    items = [product.item for product in touched]
    items += [use.part.item for product in touched for use in product.uses()]
    return [*items, Item.objects.honey()] if honey else items


def check_pieces_there(
    problems: Problems, parameter: str, lot: Lot, place: Place, pieces: int
) -> None:
    """Add a problem where fewer pieces of a lot are free at a place."""
    there = Balance.objects.filter(lot=lot, place=place).first()
    free = there.free if there else 0
    if free < pieces:
        problems.add(
            parameter,
            ngettext(
                "Only %(free)s of lot %(lot)s is free on %(place)s. Enter fewer.",
                "Only %(free)s of lot %(lot)s are free on %(place)s. Enter fewer.",
                free,
            )
            % {"free": free, "lot": lot.code, "place": place.name},
        )


def check_labels_there(problems: Problems, parameter: str, needs: Sequence[PartNeed]) -> None:
    for need in needs:
        if need.short:
            problems.add_error(rules.part_error(need, parameter))


def part_lines(needs: list[PartNeed], parameter: str) -> list[ledger.Line]:
    try:
        return used_parts.lines(needs)
    except NotEnoughStock as error:
        error.parameter = parameter
        raise


def costs_of(
    needs: Sequence[PartNeed], labour_minutes: int | None
) -> tuple[int | None, int | None]:
    """Return what the parts cost, and what the work did; each None while it is not known."""
    return (
        costs.parts_cents(needs, part_closings.heaps(need.part for need in needs)),
        costs.labour_cents(
            labour_minutes, cents_per_hour=ProductionSettings.current().labour_cents_per_hour
        ),
    )


def add_pieces(lot: Lot, pieces: int, went_in: Mapping[Lot, int]) -> None:
    """Let so many pieces more be of a lot, and its parents be those that went in."""
    lot.quantity_made += pieces
    for source, count in went_in.items():
        link, _made = LotParent.objects.get_or_create(lot=lot, parent=source, defaults={"grams": 0})
        link.grams += source.honey_in(count)
        link.save(update_fields=["grams"])


def record(
    *,
    act: str,
    lot: Lot,
    pieces: int,
    changed: Mapping[Lot, int],
    grams: Mapping[Lot, int],
    cost_cents: int | None,
    kind: str,
    lines: Sequence[ledger.Line],
    changed_by: Person,
    key: str,
    note: str = "",
    changed_on: date | None = None,
    loss_grams: int = 0,
    parts_cents: int | None = None,
    labour_minutes: int | None = None,
    labour_cents: int | None = None,
    cents_before: int | None = None,
) -> JarChange:
    """Post a change and keep it with the lots that went in, or came back out."""
    posting = ledger.post(
        kind=kind,
        lines=lines,
        recorded_by=changed_by,
        key=key,
        note=note,
        occurred_at=days.moment(changed_on),
    )
    change = JarChange(
        act=act,
        lot=lot,
        pieces=pieces,
        loss_grams=loss_grams,
        labour_minutes=labour_minutes,
        labour_cents=labour_cents,
        parts_cents=parts_cents,
        cost_cents=cost_cents,
        cents_before=cents_before,
        changed_by=changed_by,
        posting=posting,
        note=note,
    )
    checks.save_checked(change)
    ChangedPieces.objects.bulk_create(
        ChangedPieces(change=change, lot=each, pieces=count, grams=grams[each])
        for each, count in changed.items()
    )
    return change


def move_pieces(lot: Lot, source: Place, target: Place, pieces: int) -> list[ledger.Line]:
    """Return the lines that carry pieces of a lot of a product."""
    if lot.product is None:
        raise ValueError(f"{lot} is honey in bulk, not in pieces.")
    return ledger.move(
        item=lot.product.item, lot=lot, source=source, target=target, quantity=pieces
    )


def parts_back_lines(parts_back: Mapping[PackagingPart, int], place: Place) -> list[ledger.Line]:
    """Return the lines that put so many of each washed part back at a place."""
    packing = Place.objects.outside(Place.Kind.PACKING)
    return [
        line
        for part, count in parts_back.items()
        if count
        for line in ledger.move(
            item=part.item, lot=None, source=packing, target=place, quantity=count
        )
    ]


def into(lot: Lot) -> JarChangeQuerySet:
    """Return the changes, not undone, that made pieces of a lot."""
    return JarChange.objects.standing().filter(lot=lot, act__in=JarChange.MAKES_PIECES)


def cents_before(lot: Lot) -> int | None:
    """Return what a lot costs without what changes added to it; None while that is not known."""
    first = into(lot).order_by("id").first()
    return cents_without_changes(lot, first.cents_before if first else lot.cost_cents)


def cents_without_changes(lot: Lot, known_before: int | None) -> int | None:
    """Return the cost of a lot's pieces that came by no change: their run's, or the one known."""
    if lot.quantity_made == sum(into(lot).values_list("pieces", flat=True)):
        return 0
    run = BottlingRun.objects.filter(packed_lot=lot, status=BottlingRun.Status.RECORDED).first()
    if run is None:
        return known_before
    return costs.run_cents(
        honey_cents=run.honey_cents, parts_cents=run.parts_cents, labour_cents=run.labour_cents
    )


def start_anew_if_undone(lot: Lot) -> None:
    """Forget what an undone run left of a lot, so that only what is added now counts.

    The lot of an undone run keeps its figures as a record, until jars are added to it.
    """
    is_undone = BottlingRun.objects.filter(
        packed_lot=lot, status=BottlingRun.Status.REVERSED
    ).exists()
    if is_undone and not into(lot).exists():
        LotParent.objects.filter(lot=lot).delete()
        lot.quantity_made, lot.cost_cents = 0, 0


def undo(posting: Posting) -> None:
    """Put right the lot that a change had made or added to, once its posting is undone.

    Emptied jars leave their lot as it was, as a blend that is undone does.
    """
    change = JarChange.objects.filter(posting=posting).select_related("lot").first()
    if change is None or change.act not in JarChange.MAKES_PIECES:
        return
    lot = change.lot
    for row in change.changed.all():
        _take_off_link(lot, row.lot_id, row.grams)
    lot.quantity_made -= change.pieces
    base = cents_without_changes(lot, change.cents_before)
    lot.cost_cents = rules.sum_cents(base, *into(lot).values_list("cost_cents", flat=True))
    if lot.quantity_made == 0:
        lot.cost_cents = None
    lot.save(update_fields=["quantity_made", "cost_cents"])


def undo_run(posting: Posting) -> None:
    """Take the pieces of an undone run off its lot where jars were added to it."""
    run = BottlingRun.objects.filter(posting=posting).select_related("packed_lot").first()
    if run is None or run.packed_lot is None:
        return
    lot = run.packed_lot
    standing = into(lot)
    if not standing.exists():
        return
    brought: dict[int, int] = {}
    for row in ChangedPieces.objects.filter(change__in=standing):
        brought[row.lot_id] = brought.get(row.lot_id, 0) + row.grams
    for link in LotParent.objects.filter(lot=lot):
        if link.parent_id in brought:
            link.grams = brought[link.parent_id]
            link.save(update_fields=["grams"])
        else:
            link.delete()
    lot.quantity_made -= run.pieces_filled or 0
    lot.cost_cents = rules.sum_cents(*standing.values_list("cost_cents", flat=True))
    lot.save(update_fields=["quantity_made", "cost_cents"])


def refuse_undo_of_used(posting: Posting) -> None:
    """Raise `CannotReverse` when a later change took pieces of what this one made or added to.

    Those pieces bear their share of the cost of both, so the later change is undone first.
    """
    changed = JarChange.objects.filter(posting=posting, act__in=JarChange.MAKES_PIECES)
    made = Lot.objects.filter(
        Q(pk__in=changed.values("lot"))
        | Q(pk__in=BottlingRun.objects.filter(posting=posting).values("packed_lot"))
    ).first()
    if made is None:
        return
    later = (
        JarChange.objects.standing()
        .filter(changed__lot=made, posting__gt=posting)
        .exclude(act=JarChange.Act.UNBOX)
        .select_related("lot")
        .first()
    )
    if later:
        raise CannotReverse(
            _(
                "This can't be undone any more: pieces of lot %(lot)s were %(act)s since. First "
                "undo what happened later, starting with the newest."
            )
            % {"lot": made.code, "act": later.get_act_display()}
        )


def _take_off_link(lot: Lot, parent: int, grams: int) -> None:
    """Take grams of a parent off a lot, and the parent itself once no change brings any of it."""
    link = LotParent.objects.get(lot=lot, parent=parent)
    link.grams -= grams
    is_still_in = ChangedPieces.objects.filter(change__in=into(lot), lot=parent).exists()
    if link.grams or is_still_in:
        link.save(update_fields=["grams"])
    else:
        link.delete()

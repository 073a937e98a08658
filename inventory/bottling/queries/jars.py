"""What the pages of jars that change show, and what a change would do before it is made."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from django.db.models import Prefetch, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.bottling.models import (
    ChangedPieces,
    JarChange,
    Product,
    ReturnedJars,
    parts_of_products,
)
from inventory.bottling.queries import changed_lots
from inventory.bottling.rules import jars as rules
from inventory.bottling.rules.parts import PartNeed, needs
from inventory.shared import words
from inventory.shared.people import Person
from inventory.stock import own_places
from inventory.stock.models import Balance, Lot, Place, PostingLine


@dataclass(frozen=True)
class JarsAtPlace:
    """Pieces of a lot at one store, with how many of them are free."""

    balance: Balance

    @property
    def place(self) -> Place:
        return self.balance.place

    @property
    def free(self) -> int:
        return self.balance.free


@dataclass(frozen=True)
class LotJars:
    """What can be done with the pieces of a lot, and what was done."""

    lot: Lot
    product: Product
    at: list[JarsAtPlace]
    can_be_labelled: bool
    came_from: list[JarChange]
    became: list[JarChange]
    held_parents: list[Lot]
    returned: list[ReturnedJars]
    # What the jars bear where the books have a number behind it; else empty.
    code_on_jars: str

    @property
    def is_box(self) -> bool:
        return self.product.kind == Product.Kind.GIFT_BOX

    @property
    def can_be_emptied(self) -> bool:
        return self.product.is_filled

    @property
    def to_decide(self) -> list[ReturnedJars]:
        return [row for row in self.returned if not row.decision]


@dataclass(frozen=True)
class PieceChange:
    """Pieces of something in the stores, before a change and after it."""

    name: str
    before: int
    after: int


@dataclass(frozen=True)
class JarPreview:
    """What a change would do to pieces and parts, and what is in its way."""

    changes: list[PieceChange]
    warnings: list[str] = field(default_factory=list)


def jars_of(lot: Lot) -> LotJars:
    """Return what the page of a lot of a product says of its pieces.

    In a constant number of queries.
    """
    if lot.product is None:
        raise ValueError(f"{lot} is honey in bulk, not in pieces.")
    at = Balance.objects.filter(lot=lot, place__kind__in=Place.STORES, quantity__gt=0)
    changes = _changes().filter(posting__reversed_by__reverses=None)
    ancestors = lot.ancestors()
    return LotJars(
        lot=lot,
        product=lot.product,
        at=[
            JarsAtPlace(balance)
            for balance in at.select_related("place").order_by("place__kind", "place__code")
        ],
        can_be_labelled=labels_for(lot.product).exists(),
        came_from=list(changes.filter(lot=lot)),
        became=list(changes.filter(changed__lot=lot).exclude(act=JarChange.Act.UNBOX)),
        held_parents=[each for each in ancestors if each.is_on_hold],
        returned=list(
            ReturnedJars.objects.filter(lot=lot).select_related(
                "lot__product__item", "set_aside_by", "decided_by"
            )
        ),
        code_on_jars=changed_lots.code_on_jars(lot, ancestors),
    )


def labels_for(product: Product) -> QuerySet[Product]:
    """Return the products that jars of this one can become by another label."""
    if not product.is_filled:
        return Product.objects.none()
    return (
        Product.objects.for_sale()
        .of_honey()
        .filter(size=product.size, form=product.form)
        .exclude(pk=product.pk)
        .order_by("id")
    )


def returned_to_decide(person: Person) -> QuerySet[ReturnedJars]:
    """Return the pieces that came back where a person may act, and that nobody decided about."""
    waiting = ReturnedJars.objects.filter(decision="").select_related(
        "lot__product__item", "set_aside_by", "set_aside"
    )
    if own_places.has_every(person):
        return waiting
    # They were taken from the place where they came back.
    own = PostingLine.objects.filter(quantity__lt=0, place__kind__in=own_places.KINDS)
    return waiting.filter(set_aside__in=own.values("posting"))


def unlabelled_in_stock() -> list[Balance]:
    """Return the jars that wait for a label, oldest first."""
    return list(
        Balance.objects.in_stores()
        .filter(item__product__is_unlabelled=True)
        .select_related("item", "place", "lot__product")
        .order_by("lot__made_on", "lot_id", "place_id")
    )


def boxes() -> list[Product]:
    """Return the gift boxes with what is in them, those in use first."""
    return list(
        Product.objects.filter(kind=Product.Kind.GIFT_BOX)
        .select_related("item")
        .prefetch_related("contents__product", *parts_of_products())
        .order_by("-is_active", "name")
    )


def lots_for_box(box: Product) -> QuerySet[Balance]:
    """Return the pieces that may go into a box, oldest lot first: not on hold, and ready."""
    return (
        Balance.objects.in_stores()
        .filter(item__product__in_boxes__box=box)
        .exclude(lot__is_on_hold=True)
        .exclude(lot__ready_on__gt=timezone.localdate())
        .select_related("item", "place", "lot__product")
        .order_by("item__name", "lot__best_by", "lot__made_on", "lot_id", "place_id")
    )


def preview_label(*, lot: Lot, place: Place, product: Product, pieces: int) -> JarPreview:
    """Say what labelling would leave of the jars and labels."""
    there = Balance.objects.filter(lot=lot, place=place).first()
    free = there.free if there else 0
    labels = rules.labels(product.uses_with_stock(), pieces)
    had = Balance.objects.pieces_in_stores([product.item_id]).get(product.item_id, 0)
    before = there.quantity if there else 0
    warnings = []
    if lot.is_on_hold:
        warnings.append(
            _("On hold: %(pieces)s (lot %(lot)s).")
            % {"pieces": words.pieces(before), "lot": lot.code}
        )
    elif pieces > free:
        warnings.append(
            ngettext("Only %(free)s is free.", "Only %(free)s are free.", free) % {"free": free}
        )
    if not labels:
        warnings.append(
            _("%(product)s has no label among its parts, so no label is booked out.")
            % {"product": product.name}
        )
    return JarPreview(
        changes=[
            PieceChange(lot.product.name if lot.product else lot.code, before, before - pieces),
            PieceChange(product.name, had, had + pieces),
            *_part_changes(labels),
        ],
        warnings=[*warnings, *(need.warning for need in labels if need.short)],
    )


def preview_boxes(*, box: Product, place: Place, boxes: int) -> JarPreview:
    """Say what putting boxes together would leave of what goes into them."""
    contents = list(box.contents.select_related("product__item"))
    there: dict[int, int] = {}
    free: dict[int, int] = {}
    for balance in lots_for_box(box).filter(place=place):
        there[balance.item_id] = there.get(balance.item_id, 0) + balance.quantity
        free[balance.item_id] = free.get(balance.item_id, 0) + balance.free
    changes, warnings = [], []
    for product, pieces in rules.per_box(
        [(each.product, each.quantity) for each in contents], boxes
    ).items():
        before = there.get(product.item_id, 0)
        changes.append(PieceChange(product.name, before, before - pieces))
        if free.get(product.item_id, 0) < pieces:
            warnings.append(
                _("%(product)s: the boxes need %(needed)s. Free on %(place)s: %(free)s.")
                % {
                    "product": product.name,
                    "needed": pieces,
                    "place": place.name,
                    "free": free.get(product.item_id, 0),
                }
            )
            warnings += _not_free(product, place)
    parts = needs(box.uses_with_stock(), filled=boxes)
    had = Balance.objects.pieces_in_stores([box.item_id]).get(box.item_id, 0)
    return JarPreview(
        changes=[*changes, PieceChange(box.name, had, had + boxes), *_part_changes(parts)],
        warnings=[*warnings, *(need.warning for need in parts if need.short)],
    )


def _not_free(product: Product, place: Place) -> list[str]:
    """Say what there is of a product at a place, but on hold or not ready yet."""
    said = []
    there = Balance.objects.filter(item=product.item, place=place, quantity__gt=0)
    for balance in there.select_related("lot").order_by("lot__ready_on", "lot_id"):
        lot, much = balance.honey_lot, words.pieces(balance.quantity)
        if lot.is_on_hold:
            said.append(
                _("%(product)s, on hold: %(pieces)s (lot %(lot)s).")
                % {"product": product.name, "pieces": much, "lot": lot.code}
            )
        elif lot.ready_on is not None and lot.is_setting:
            said.append(
                _("%(product)s, ready from %(day)s: %(pieces)s (lot %(lot)s).")
                % {
                    "product": product.name,
                    "pieces": much,
                    "lot": lot.code,
                    "day": date_format(lot.ready_on),
                }
            )
    return said


def in_boxes(lot: Lot) -> Mapping[Lot, int]:
    """Return how many pieces of each lot are in the boxes of a lot that are still whole."""
    inside: dict[Lot, int] = {}
    for row in (
        ChangedPieces.objects.filter(change__in=JarChange.objects.standing().filter(lot=lot))
        .select_related("change", "lot__product")
        .order_by("lot__made_on", "lot_id")
    ):
        sign = -1 if row.change.act == JarChange.Act.UNBOX else 1
        inside[row.lot] = inside.get(row.lot, 0) + sign * row.pieces
    return {lot: pieces for lot, pieces in inside.items() if pieces}


def _part_changes(parts: list[PartNeed]) -> list[PieceChange]:
    return [PieceChange(need.part.name, need.there, need.there - need.needed) for need in parts]


def _changes() -> QuerySet[JarChange]:
    return (
        JarChange.objects.select_related("lot__product", "posting", "changed_by")
        .prefetch_related(Prefetch("changed", ChangedPieces.objects.select_related("lot__product")))
        .order_by("-id")
    )

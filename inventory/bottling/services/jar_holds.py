"""A hold of jars reaches what was made of them: other labels, and gift boxes they are in."""

from django.utils.translation import gettext as _

from inventory.stock.models import Lot

HOLD_REASON_MAX = 300


def hold(lot: Lot, reason: str) -> None:
    """Keep a lot from sale, and all that its jars have become; with their items locked.

    Honey that came out of its jars is not held: what is wrong may be the weight or the label.
    """
    lot.is_on_hold, lot.hold_reason = True, reason[:HOLD_REASON_MAX]
    lot.save(update_fields=["is_on_hold", "hold_reason"])
    for made in made_of(lot):
        if not made.is_on_hold:
            made.is_on_hold, made.hold_reason = True, inherited_reason(lot)
            made.save(update_fields=["is_on_hold", "hold_reason"])


def release(lot: Lot) -> None:
    """Let a lot be sold again, and what was held because of it alone."""
    inherited = inherited_reason(lot)
    lot.is_on_hold, lot.hold_reason = False, ""
    lot.save(update_fields=["is_on_hold", "hold_reason"])
    for made in made_of(lot):
        if not made.is_on_hold or made.hold_reason != inherited:
            continue
        others = [each for each in _jars_in(made) if each.is_on_hold]
        made.is_on_hold = bool(others)
        made.hold_reason = inherited_reason(others[0]) if others else ""
        made.save(update_fields=["is_on_hold", "hold_reason"])


def inherited_reason(lot: Lot) -> str:
    """Return the reason of a hold that comes from a lot's own."""
    said = _("Made from lot %(lot)s, which is on hold. %(reason)s") % {
        "lot": lot.code,
        "reason": lot.hold_reason,
    }
    return said[:HOLD_REASON_MAX]


def made_of(lot: Lot) -> list[Lot]:
    """Return what jars became without going through a vessel, nearest first."""
    found: dict[int, Lot] = {}
    layer = [lot]
    while layer:
        children = Lot.objects.filter(
            parent_links__parent__in=layer, product__isnull=False
        ).select_related("product__item")
        layer = [child for child in children.order_by("id") if child.pk not in found]
        found |= {child.pk: child for child in layer}
    return list(found.values())


def _jars_in(lot: Lot) -> list[Lot]:
    """Return the lots of jars that a lot of jars or boxes was made of, however far back."""
    found: dict[int, Lot] = {}
    layer = [lot]
    while layer:
        parents = Lot.objects.filter(child_links__lot__in=layer, product__isnull=False)
        layer = [parent for parent in parents.order_by("id") if parent.pk not in found]
        found |= {parent.pk: parent for parent in layer}
    return list(found.values())

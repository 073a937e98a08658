"""A hold of jars reaches what was made of them: other labels, and gift boxes they are in."""

from django.utils.translation import gettext as _

from inventory.stock.models import Lot, LotHold

HOLD_REASON_MAX = 300


def inherited(hold: LotHold) -> list[LotHold]:
    """Return the holds, not saved yet, of all that the jars of a lot on hold have become.

    Honey that came out of its jars is not held: what is wrong may be the weight or the label.
    """
    said = _("Made from lot %(lot)s, which is on hold. %(reason)s") % {
        "lot": hold.lot.code,
        "reason": hold.reason,
    }
    return [
        LotHold(
            lot=made,
            cause=hold.cause,
            because_of=hold,
            reason=said[:HOLD_REASON_MAX],
            held_at=hold.held_at,
            held_by=hold.held_by,
        )
        for made in made_of(hold.lot)
    ]


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

"""Honey that is fed back to bees: the house's own, from hives known to be healthy.

Spores of American foulbrood travel in honey and stay alive in it for years, whatever it looks or
tastes like (common practice of bee inspectors: never feed honey of unknown origin).
"""

from django.utils.translation import gettext as _

from inventory.shared.errors import NotAllowedNow
from inventory.stock.models import Lot, Posting


def refuse_to_feed(lot: Lot | None, reason: str, *, may_be_fed: bool) -> None:
    """Raise where honey that others harvested would be fed, unless `may_be_fed` confirms it.

    Honey of other beekeepers, and honey on hold, is never used: see `honey.refuse_to_use`.
    """
    if lot is None or reason != Posting.Kind.FEEDING or may_be_fed:
        return
    strange = [
        each.lot
        for each in lot.origins()
        if each.lot.kind != Lot.Kind.EXTRACTION and not each.lot.is_from_the_hive
    ]
    if strange:
        raise NotAllowedNow(
            _(
                "Lot %(lot)s has honey in it that is not known to be of your own hives "
                "(%(origins)s). Spores of foulbrood travel in honey and can infect your bees. "
                "Don't feed it, unless you know that it has none: then tick that it may be fed."
            )
            % {"lot": lot.code, "origins": ", ".join(each.code for each in strange)},
            parameter="may_be_fed",
        )

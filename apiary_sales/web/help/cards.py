"""Cards of one page in large type, to hang where the work is done."""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class QuickCard:
    slug: str
    label: str | Promise


CARDS = (
    QuickCard("stand", _("The stand on one page")),
    QuickCard("bottling-room", _("The bottling room on one page")),
)
CARDS_BY_SLUG = {card.slug: card for card in CARDS}

"""So many pieces of some products: on a consignment delivery or report, on a standing order."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from apiary_sales.orders.rules.lines import LINES_MAX, parameter_of
from inventory.bottling.models import Product
from inventory.shared.errors import Problems
from inventory.stock import rules


@dataclass(frozen=True)
class PiecesWanted:
    """So many pieces of one product."""

    product: Product
    pieces: int


def check(problems: Problems, lines: Sequence[PiecesWanted]) -> None:
    """Collect what is wrong with each line, at `lines.<position>.<name>`."""
    if not lines:
        problems.add("lines", _("Enter how many pieces of at least one product."))
    elif len(lines) > LINES_MAX:
        problems.add("lines", _("An order can have up to 200 lines. Make two orders."))
    seen: set[int] = set()
    for index, line in enumerate(lines):
        name, figures = parameter_of(index, "product"), {"product": line.product.name}
        if line.product.is_unlabelled:
            problems.add(
                name,
                _("%(product)s: these jars are not for sale. Label them first.") % figures,
            )
        elif line.product.item.is_weighed:
            problems.add(name, _("%(product)s is sold by weight, not by the piece.") % figures)
        elif line.product.pk in seen:
            problems.add(name, _("%(product)s is on the list twice. Remove one.") % figures)
        seen.add(line.product.pk)
        rules.check_pieces(problems, parameter_of(index, "pieces"), line.pieces)

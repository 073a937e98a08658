"""What happens with goods that come back, by what they are and whether they had left the house."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import is_weighed_out


def way_of(line: OrderLine) -> str:
    """Say before a credit or a return what will happen with the goods of a line; "" for charges."""
    if not line.is_stocked:
        return ""
    if is_weighed_out(line):
        return _("back to stock, or booked out as spoiled if it had left the house")
    if line.kind == OrderLine.Kind.PACKED:
        return _("back to stock, or kept apart if it had left the house")
    return _("back to stock")


def what_happened(lines: Iterable[OrderLine], *, had_left: bool, spoils_weighed: bool) -> str:
    """Say after it what happened with the goods; "" where there were only charges."""
    goods = [line for line in lines if line.is_stocked]
    weighed = [line for line in goods if is_weighed_out(line)]
    apart = [line for line in goods if line.kind == OrderLine.Kind.PACKED] if had_left else []
    spoiled = weighed if had_left or spoils_weighed else []
    sentences = []
    if len(goods) > len(apart) + len(spoiled):
        sentences.append(
            _("The rest of the goods is back in stock.")
            if apart or spoiled
            else _("The goods are back in stock.")
        )
    if apart:
        sentences.append(_("What was sold by the piece is kept apart until somebody decides."))
    if spoiled:
        sentences.append(_("What was sold by weight is booked out as spoiled."))
    return " ".join(sentences)

"""Sales at the stand for tests of what comes back of them."""

from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.billing.stand_return_rules import PiecesBack
from tests import builders


def cash(cents=None):
    return PaymentMade("cash", cents, 10_000 if cents is None else cents)


def card(cents=None):
    return PaymentMade("card", cents)


def check(cents=None):
    return PaymentMade("check", cents, reference="1042")


def sold(place, *lines, payments=None, **more):
    """Sell at a stand, for cash unless told otherwise, and return the receipt."""
    sale = stand_sales.sell(
        lines=lines,
        place=place,
        payments=payments or [cash()],
        sold_by=more.pop("sold_by", None) or builders.person("stand"),
        key=builders.new_key(),
        **more,
    )
    return sale.receipt


def back(receipt, *pieces, is_on_shelf=False):
    """Return that so many pieces of the lines of a receipt come back, in their order."""
    lines = receipt.lines.select_related("fulfilment_line__order_line", "invoice").order_by("id")
    return [
        PiecesBack(line, count, is_on_shelf)
        for line, count in zip(lines, pieces, strict=False)
        if count != 0
    ]

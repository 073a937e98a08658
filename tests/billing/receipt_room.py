"""What tests of receipts share: a sale at the stand, and a browser that came by a public name."""

from apiary_sales.billing.models import StandSale
from apiary_sales.billing.services import stand
from apiary_sales.billing.services.stand import PaymentMade
from tests import builders
from tests.billing.conftest import jars

SITE = "https://honey.example"
HOST = {"headers": {"host": "honey.example"}, "secure": True}


def cash(cents=None, given=10_000) -> PaymentMade:
    return PaymentMade("cash", cents, given)


def sale_of(product, place, *paid, pieces=1, lines=1, **more) -> StandSale:
    """Sell jars at 8.00 each."""
    return stand.sell(
        lines=[jars(product, pieces, "8.00") for _line in range(lines)],
        place=place,
        payments=paid or [cash()],
        sold_by=more.pop("sold_by", None) or builders.person("stand"),
        key=builders.new_key(),
        **more,
    )

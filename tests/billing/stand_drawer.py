"""What tests of a stand's day have in common: the hours of the day, and a sale of jars."""

from apiary_sales.billing.services import stand
from apiary_sales.billing.services.stand_money import PaymentMade
from tests import builders
from tests.billing.conftest import NOON, jars


def at(hour):
    """Return the moment of an hour on the day of the tests."""
    return NOON.replace(hour=hour)


def sell_jars(product, pieces=1, method="cash", **more):
    """Sell jars at 8.00 at the stand, as a phone sends a sale that happened."""
    fields = {
        "payments": [PaymentMade(method)],
        "key": builders.new_key(),
        "has_happened": True,
        **more,
    }
    fields.setdefault("sold_by", builders.person("stand"))
    return stand.sell(lines=[jars(product, pieces, "8.00")], **fields)

"""Who may see which prices: everybody those of the stand, not everybody those of the trade."""

from django.contrib.auth.decorators import permission_required

from apiary_sales.customers.models import Customer
from inventory.shared.people import Person

VIEW_TRADE_PRICES = "pricing.view_trade_prices"

sees_trade_prices = permission_required(VIEW_TRADE_PRICES, raise_exception=True)


def tiers_of(person: Person) -> list[Customer.Tier]:
    """Return the price lists that a person may see, in their order."""
    if person.has_perm(VIEW_TRADE_PRICES):
        return list(Customer.Tier)
    return [Customer.Tier.STAND]

"""Who may see buyers and what they buy: whoever sells to them, fills for them or bills them."""

from typing import Any

from django.contrib.auth.decorators import user_passes_test
from django.core.exceptions import PermissionDenied

ANY_OF = (
    "customers.manage_customers",
    "orders.take_orders",
    "orders.quote_drums",
    "orders.fulfil_orders",
    "billing.view_money",
)


def _sees_buyers(user: Any) -> bool:
    if any(user.has_perm(permission) for permission in ANY_OF):
        return True
    raise PermissionDenied


sees_buyers = user_passes_test(_sees_buyers)

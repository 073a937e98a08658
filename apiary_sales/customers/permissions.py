"""Who may see buyers and what they buy: whoever sells to them, fills for them or bills them."""

from django.contrib.auth.decorators import permission_required

VIEW_CUSTOMERS = "customers.view_customers"
# For what asks for any of several permissions.
ANY_OF = (VIEW_CUSTOMERS,)

sees_buyers = permission_required(VIEW_CUSTOMERS, raise_exception=True)

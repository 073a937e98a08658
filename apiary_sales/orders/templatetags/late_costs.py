"""What pages where costs are entered say of goods that were sold before."""

from typing import Any

from django import template

from apiary_sales.orders.late_costs import sold_without_cost

register = template.Library()


@register.inclusion_tag("orders/late_costs/_offer.html")
def late_cost_offer(season: int | None = None) -> dict[str, Any]:
    """Offer to cost what was sold without a cost: all, or what has honey of a season in it."""
    return {"found": sold_without_cost(season), "season": season}

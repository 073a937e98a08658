"""What the pages of consignment, contracts, standing orders and rounds share, and their hub."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.queries import consignments, contracts, rounds, standing_orders
from inventory.shared.views import ActView

# So many of each kind are on the hub; the rest is on a page of its own.
SHOWN = 5


@sees_buyers
@require_safe
def hub(request: HttpRequest) -> HttpResponse:
    """Show what regular trade waits for today."""
    today = timezone.localdate()
    running = contracts.listed().filter(starts_on__lte=today, ends_on__gte=today)
    return render(
        request,
        "orders/trade/hub.html",
        {
            "today": today,
            "proposals": standing_orders.proposals(today),
            "standing_count": standing_orders.listed().filter(is_paused=False).count(),
            "rounds": rounds.listed().filter(day__gte=today).order_by("day", "id")[:SHOWN],
            "planned": consignments.planned()[:SHOWN],
            "shelves": consignments.contents(consignments.shelves()),
            "tallies": contracts.tallies(running),
        },
    )


class TradeActView(ActView):
    """An act with a plain form: a heading, one sentence that says what happens, and a button."""

    template_name = "orders/trade/act.html"
    heading: Any = ""
    lead: Any = ""
    button: Any = ""
    caution = ""

    def back_url(self) -> str:
        raise NotImplementedError

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "act_heading": self.heading,
            "act_lead": self.lead,
            "button": self.button,
            "caution": self.caution,
            "back_url": self.back_url(),
        }

    def next_url(self, made: Any) -> str:
        return self.back_url()

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)

"""Which papers about orders and quotes can be sent by e-mail."""

from typing import Any

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from inventory.shared import mailable, words


def register() -> None:
    """Register them; called once, when the app is ready."""
    from apiary_sales.orders import papers
    from apiary_sales.orders.models import Order

    mailable.register(
        "quote",
        "orders.Order",
        title=_("Quote"),
        permission="orders.quote_drums",
        pdf=lambda order, details: papers.quote(order),
        number=lambda order: order.number,
        customer=lambda order: order.customer,
        page=lambda order: reverse("orders:order_detail", args=[order.number]),
        is_for=lambda order: order.status == Order.Status.QUOTED,
        figures=_figures,
        figure_names=("total", "until"),
    )


def _figures(order: Any) -> dict[str, str]:
    until = order.valid_until
    return {
        "total": words.money(order.total_cents),
        "until": date_format(until, "DATE_FORMAT") if until else "",
    }

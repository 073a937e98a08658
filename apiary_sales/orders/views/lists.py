"""Selling at a glance, lists of orders, and stock by size and product."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from apiary_sales.customers.models import Customer
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.queries import orders, stock, trace
from inventory.bottling.models import Product
from inventory.shared.htmx import HtmxRequest
from inventory.stock.models import Lot

PAGE_SIZE = 30
LATELY = 8


@sees_buyers
@require_safe
def selling(request: HttpRequest) -> HttpResponse:
    """Show what waits to be filled or followed up, or the orders that fit the filters."""
    asked = {name: request.GET.get(name, "").strip() for name in ("status", "channel", "text")}
    context = {
        "asked": asked,
        "is_filtered": any(asked.values()),
        "statuses": [
            choice for choice in Order.Status.choices if choice[0] not in Order.OPEN_STATUSES
        ],
        "channels": Order.Channel.choices,
        "today": timezone.localdate(),
    }
    if context["is_filtered"]:
        page = Paginator(orders.find(**asked), PAGE_SIZE).get_page(request.GET.get("page"))
        context |= {"page": page, "found": orders.rows(page)}
    else:
        to_fill = orders.rows(orders.to_fill())
        context |= {
            "to_fill": to_fill,
            "missing": [row for row in to_fill if row.missing],
            "quotes": orders.rows(orders.quotes_to_follow_up()),
            "filled": orders.rows(orders.lately_filled()[:LATELY]),
        }
    return render(request, "orders/selling.html", context)


@sees_buyers
@require_safe
def stock_by_size(request: HttpRequest) -> HttpResponse:
    return render(request, "orders/stock.html", {"found": stock.everything()})


@sees_buyers
@require_safe
def stock_detail(request: HttpRequest, code: str) -> HttpResponse:
    product = get_object_or_404(Product.objects.select_related("item", "size"), code=code)
    return render(
        request,
        "orders/stock_detail.html",
        {
            "product": stock.of(product),
            "reserved_for": stock.reserved_for(product),
            "runs": stock.planned_runs(product),
        },
    )


@sees_buyers
@require_safe
def customer_orders(request: HttpRequest, pk: int) -> HttpResponse:
    """A part of the customer's page: their quotes and orders."""
    customer = get_object_or_404(Customer, pk=pk)
    page = Paginator(orders.of_customer(customer), 12).get_page(request.GET.get("page"))
    return render(
        request,
        "orders/_customer_orders.html",
        {
            "customer": customer,
            "page": page,
            "found": orders.rows(page),
            "open_cents": OrderLine.objects.open_cents(customer),
        },
    )


@sees_buyers
@require_safe
@vary_on_headers("HX-Request")
def lot_buyers(request: HtmxRequest, pk: int) -> HttpResponse:
    """Who got honey of a lot: a part of the lot's page, or a page of its own without script.

    The same rows as the recall of the lot, which has all of them where there are many.
    """
    lot = get_object_or_404(Lot, pk=pk)
    template_name = "orders/_lot_buyers.html" if request.htmx else "orders/lot_buyers.html"
    family = Lot.objects.family_keys([lot.pk])
    buyers, unnamed = trace.buyers(family), trace.unnamed(family)
    context = {
        "lot": lot,
        "buyers": trace.buyer_rows(family, buyers[:PAGE_SIZE]),
        "unnamed": trace.unnamed_rows(unnamed[:PAGE_SIZE]),
        "left": max(0, buyers.count() - PAGE_SIZE) + max(0, unnamed.count() - PAGE_SIZE),
    }
    return render(request, template_name, context)

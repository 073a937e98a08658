"""Consignment: what is on which shop's shelf, brought there, and brought back."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import trade_papers
from apiary_sales.orders.forms import trade as forms
from apiary_sales.orders.queries import consignments as found
from apiary_sales.orders.services import consignments
from apiary_sales.orders.trade_models import (
    ConsignmentDelivery,
    ConsignmentPrice,
    ConsignmentShelf,
)
from apiary_sales.orders.views.trade import TradeActView
from inventory.shared import documents
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.stock.models import Posting

DELIVERIES_SHOWN, PAGE_SIZE = 10, 30


@sees_buyers
@require_safe
def shelf_list(request: HttpRequest) -> HttpResponse:
    """Show what of ours is on which shop's shelf, and since when."""
    shelves = found.contents(found.shelves())
    return render(
        request,
        "orders/trade/shelf_list.html",
        {
            "shelves": shelves,
            "pieces": sum(shelf.pieces for shelf in shelves),
            "planned": found.planned(),
        },
    )


@sees_buyers
@require_safe
def shelf_detail(request: HttpRequest, code: str) -> HttpResponse:
    shelf = shelf_of(code)
    [contents] = found.contents([shelf])
    return render(
        request,
        "orders/trade/shelf.html",
        {
            "shelf": shelf,
            "contents": contents,
            "prices": found.prices(shelf),
            "deliveries": found.deliveries(shelf)[:DELIVERIES_SHOWN],
        },
    )


@sees_buyers
@require_safe
def delivery_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(found.deliveries(), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "orders/trade/delivery_list.html", {"page": page})


@sees_buyers
@require_safe
def delivery_detail(request: HttpRequest, number: str) -> HttpResponse:
    context = trade_papers.consignment_delivery_context(delivery_of(number))
    return render(request, "orders/trade/delivery.html", context)


@sees_buyers
@require_safe
def delivery_pdf(request: HttpRequest, number: str) -> HttpResponse:
    return documents.serve(
        request,
        name=f"delivery-{number}.pdf",
        template_name=trade_papers.CONSIGNMENT_DELIVERY,
        context=trade_papers.consignment_delivery_context(delivery_of(number)),
    )


@permission_required("orders.fulfil_orders", raise_exception=True)
@require_POST
def delivery_cancel(request: HttpRequest, number: str) -> HttpResponse:
    """Cancel a delivery that is only planned; nothing has moved."""
    delivery = delivery_of(number)
    try:
        consignments.cancel(delivery=delivery)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("Delivery %(number)s is cancelled.") % {"number": delivery.number}
        )
    return HttpResponseRedirect(delivery_url(delivery))


class ShelfCreateView(TradeActView):
    permission_required = "orders.take_orders"
    form_class = forms.ShelfForm
    heading = gettext_lazy("New consignment shelf")
    lead = gettext_lazy(
        "Jars on it stay yours until the shop reports them sold. No order and no stand sale takes "
        "them."
    )
    button = gettext_lazy("Set it up")

    def get_initial(self) -> dict[str, Any]:
        return {"customer": self.request.GET.get("customer")}

    def act(self, data: dict[str, Any]) -> ConsignmentShelf:
        return consignments.set_up(**data)

    def done_message(self, made: ConsignmentShelf) -> str:
        return _("The shelf is set up. Agree the prices next.")

    def back_url(self) -> str:
        return reverse("orders:consignment_list")

    def next_url(self, made: ConsignmentShelf) -> str:
        return shelf_url(made)


class ShelfActView(TradeActView):
    """An act on one shop's shelf."""

    def prepare(self) -> None:
        self.shelf = shelf_of(self.kwargs["code"])

    def back_url(self) -> str:
        return shelf_url(self.shelf)


class ConsignmentPriceView(ShelfActView):
    permission_required = "orders.take_orders"
    form_class = forms.ConsignmentPriceForm
    heading = gettext_lazy("Agree a price")
    lead = gettext_lazy("What the shop pays you for one piece that it sold, from a day on.")
    button = gettext_lazy("Save the price")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "products": found.products_for(self.shelf)}

    def act(self, data: dict[str, Any]) -> ConsignmentPrice:
        del data["key"]
        return consignments.agree_price(shelf=self.shelf, **data)

    def done_message(self, made: ConsignmentPrice) -> str:
        return _("The price of %(product)s is saved.") % {"product": made.product.name}


class ConsignmentDeliverView(ShelfActView):
    permission_required = "orders.fulfil_orders"
    form_class = forms.ConsignmentDeliveryForm
    heading = gettext_lazy("Bring jars to the shop")
    lead = gettext_lazy(
        "They are taken from your shelves, the stand and the van, oldest lot first. Nothing is "
        "sold."
    )
    button = gettext_lazy("Save the delivery")

    def get_form_kwargs(self) -> dict[str, Any]:
        products = found.products_for(self.shelf)
        free = found.free_pieces(product.item for product in products)
        return {**super().get_form_kwargs(), "products": products, "free": free}

    def act(self, data: dict[str, Any]) -> ConsignmentDelivery:
        wanted = {
            "shelf": self.shelf,
            "lines": self.form.lines,
            "note": data["note"],
            "key": data["key"],
        }
        person = person_of(self.request)
        if data["is_there"]:
            return consignments.deliver_now(
                **wanted, delivered_on=data["planned_on"], delivered_by=person
            )
        return consignments.plan(**wanted, planned_on=data["planned_on"], created_by=person)

    def done_message(self, made: ConsignmentDelivery) -> str:
        if made.status == ConsignmentDelivery.Status.DELIVERED:
            return _("Delivery %(number)s is on the shelf of the shop.") % {"number": made.number}
        return _("Delivery %(number)s is planned. Nothing moves until it is delivered.") % {
            "number": made.number
        }

    def next_url(self, made: ConsignmentDelivery) -> str:
        return delivery_url(made)


class BringBackView(ShelfActView):
    permission_required = "orders.fulfil_orders"
    form_class = forms.BringBackForm
    heading = gettext_lazy("Bring jars back")
    lead = gettext_lazy(
        "What comes back from the shop is free to sell again where you bring it, unless its lot is "
        "on hold."
    )
    button = gettext_lazy("Bring them back")

    def get_form_kwargs(self) -> dict[str, Any]:
        [contents] = found.contents([self.shelf])
        return {**super().get_form_kwargs(), "rows": contents.rows}

    def act(self, data: dict[str, Any]) -> Posting:
        return consignments.bring_back(
            shelf=self.shelf,
            lots=self.form.lots,
            target=data["target"],
            brought_on=data["brought_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("The jars are back.")

    def posting_to_undo(self, made: Posting) -> Posting:
        return made


class DeliveryDeliverView(TradeActView):
    permission_required = "orders.fulfil_orders"
    form_class = forms.DeliveredForm
    lead = gettext_lazy(
        "They are taken from your shelves, the stand and the van, oldest lot first. Nothing is "
        "sold."
    )
    button = gettext_lazy("They are on the shelf")

    def prepare(self) -> None:
        self.delivery = delivery_of(self.kwargs["number"])

    @cached_property
    def heading(self) -> str:
        return _("Delivery %(number)s is there") % {"number": self.delivery.number}

    def act(self, data: dict[str, Any]) -> ConsignmentDelivery:
        return consignments.deliver(
            delivery=self.delivery, delivered_by=person_of(self.request), **data
        )

    def done_message(self, made: ConsignmentDelivery) -> str:
        return _("Delivery %(number)s is on the shelf of the shop.") % {"number": made.number}

    def back_url(self) -> str:
        return delivery_url(self.delivery)


def shelf_of(code: str) -> ConsignmentShelf:
    return get_object_or_404(found.shelves(), place__code=code)


def delivery_of(number: str) -> ConsignmentDelivery:
    return get_object_or_404(found.deliveries(), number=number)


def shelf_url(shelf: ConsignmentShelf) -> str:
    return reverse("orders:consignment_shelf", args=[shelf.place.code])


def delivery_url(delivery: ConsignmentDelivery) -> str:
    return reverse("orders:consignment_delivery", args=[delivery.number])

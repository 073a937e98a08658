"""The papers of a delivery, as pages and PDF, and who carries it."""

from typing import Any

from django.db.models import Model, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import translation
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import delivery_papers
from apiary_sales.orders.forms.deliveries import CarrierForm
from apiary_sales.orders.models import Delivery, Fulfilment
from apiary_sales.orders.services import deliveries
from inventory.shared import documents
from inventory.shared.views import ActView

# What the form asks for, as the model calls it.
DETAILS = ("carrier", "vehicle", "ship_to", "freight", "packages", "instructions")


@sees_buyers
@require_safe
def delivery_paper(request: HttpRequest, number: str, pk: int, paper: str) -> HttpResponse:
    fulfilment = _fulfilment(number, pk, paper)
    context = {
        **delivery_papers.context(fulfilment),
        "paper": paper,
        "heading": _headings()[paper],
        "papers": [
            (name, heading, reverse("orders:delivery_paper", args=[number, pk, name]))
            for name, heading in _headings().items()
        ],
        "language": translation.get_language_info(fulfilment.order.paper_language),
    }
    return render(request, "orders/delivery_paper.html", context)


@sees_buyers
@require_safe
def delivery_paper_pdf(request: HttpRequest, number: str, pk: int, paper: str) -> HttpResponse:
    fulfilment = _fulfilment(number, pk, paper)
    with translation.override(fulfilment.order.paper_language):
        return documents.serve(
            request,
            name=f"{paper}-{number}-{pk}.pdf",
            template_name=delivery_papers.TEMPLATES[paper],
            context=delivery_papers.context(fulfilment),
        )


class CarrierView(ActView):
    """Say who carries goods that were handed over, and where to."""

    permission_required = "orders.fulfil_orders"
    template_name = "orders/delivery.html"
    form_class = CarrierForm

    @cached_property
    def fulfilment(self) -> Fulfilment:
        number, pk = self.kwargs["number"], self.kwargs["pk"]
        return get_object_or_404(delivery_papers.found(), order__number=number, pk=pk)

    def edited(self) -> Model:
        return self.fulfilment

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [Delivery.objects.filter(fulfilment=self.fulfilment)]

    def get_initial(self) -> dict[str, Any]:
        delivery = getattr(self.fulfilment, "delivery", None)
        return {name: getattr(delivery, name) for name in DETAILS} if delivery else {}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = {"fulfilment": self.fulfilment, "order": self.fulfilment.order}
        return {**super().get_context_data(**kwargs), **context}

    def act(self, data: dict[str, Any]) -> Delivery:
        details = {name: data[name] for name in DETAILS}
        return deliveries.describe(fulfilment=self.fulfilment, **details)

    def done_message(self, made: Delivery) -> str:
        return _("Saved. Papers show it from now on.")

    def next_url(self, made: Delivery) -> str:
        paper = delivery_papers.DELIVERY_NOTE
        return reverse(
            "orders:delivery_paper",
            args=[self.fulfilment.order.number, self.fulfilment.pk, paper],
        )


def _headings() -> dict[str, str]:
    return {
        delivery_papers.DELIVERY_NOTE: _("Delivery note"),
        delivery_papers.BILL_OF_LADING: _("Bill of lading"),
        delivery_papers.PACKING_SLIP: _("Packing slip"),
    }


def _fulfilment(number: str, pk: int, paper: str) -> Fulfilment:
    if paper not in delivery_papers.TEMPLATES:
        raise Http404
    return get_object_or_404(delivery_papers.found(), order__number=number, pk=pk)

"""Pages of the programs that are told what happens in the house, for the owner."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from apiary_sales.webhooks import queries
from apiary_sales.webhooks.forms import EndpointForm
from apiary_sales.webhooks.models import Endpoint
from apiary_sales.webhooks.services import endpoints
from inventory.shared import paging
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ActView

MANAGE = "webhooks.manage_webhooks"
manages_webhooks = permission_required(MANAGE, raise_exception=True)


@manages_webhooks
def endpoint_list(request: HttpRequest) -> HttpResponse:
    return render(request, "webhooks/endpoints.html", {"endpoints": queries.endpoints()})


@manages_webhooks
def endpoint_detail(request: HttpRequest, pk: int) -> HttpResponse:
    endpoint = get_object_or_404(queries.endpoints(), pk=pk)
    page = paging.page_of(request, queries.deliveries().filter(endpoint=endpoint))
    return render(request, "webhooks/endpoint.html", {"endpoint": endpoint, "page": page})


@manages_webhooks
def add_endpoint(request: HttpRequest) -> HttpResponse:
    """Add a program, and show its secret this once."""
    form = EndpointForm(request.POST or None)
    if form.is_valid():
        try:
            endpoint, secret = endpoints.add(made_by=person_of(request), **form.cleaned_data)
        except HouseError as error:
            form.refuse(error)
        else:
            return _secret_page(request, endpoint, secret)
    status = 422 if form.errors else 200
    return render(request, "webhooks/endpoint_form.html", {"form": form}, status=status)


class ChangeEndpointView(ActView):
    permission_required = MANAGE
    form_class = EndpointForm
    template_name = "webhooks/endpoint_form.html"

    def prepare(self) -> None:
        self.endpoint = get_object_or_404(Endpoint, pk=self.kwargs["pk"])

    def edited(self) -> Model:
        return self.endpoint

    def get_initial(self) -> dict[str, Any]:
        names = EndpointForm.base_fields
        return {name: getattr(self.endpoint, name) for name in names}

    def act(self, data: dict[str, Any]) -> Endpoint:
        return endpoints.change(endpoint=self.endpoint, **data)

    def done_message(self, made: Endpoint) -> str:
        return _("%(name)s is changed.") % {"name": made.name}

    def next_url(self, made: Endpoint) -> str:
        return reverse("webhooks:endpoint", args=[made.pk])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "endpoint": self.endpoint}


@manages_webhooks
@require_POST
def send_test(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        endpoints.send_test(endpoint=get_object_or_404(Endpoint, pk=pk))
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("A test is on its way. Load the page again to see what was answered.")
        )
    return redirect("webhooks:endpoint", pk=pk)


@manages_webhooks
@require_POST
def renew_secret(request: HttpRequest, pk: int) -> HttpResponse:
    endpoint = get_object_or_404(Endpoint, pk=pk)
    secret = endpoints.renew_secret(endpoint=endpoint)
    return _secret_page(request, endpoint, secret, is_renewed=True)


@manages_webhooks
@require_POST
def switch_off(request: HttpRequest, pk: int) -> HttpResponse:
    endpoint = endpoints.switch_off(endpoint=get_object_or_404(Endpoint, pk=pk))
    messages.success(request, _("%(name)s is told no more.") % {"name": endpoint.name})
    return redirect("webhooks:endpoint", pk=pk)


@manages_webhooks
@require_POST
def switch_on(request: HttpRequest, pk: int) -> HttpResponse:
    endpoint = endpoints.switch_on(endpoint=get_object_or_404(Endpoint, pk=pk))
    messages.success(
        request, _("%(name)s is told of what happens from now on.") % {"name": endpoint.name}
    )
    return redirect("webhooks:endpoint", pk=pk)


@manages_webhooks
def delivery_detail(request: HttpRequest, pk: int) -> HttpResponse:
    delivery = get_object_or_404(queries.deliveries(), pk=pk)
    return render(request, "webhooks/delivery.html", {"delivery": delivery})


@manages_webhooks
@require_POST
def send_again(request: HttpRequest, pk: int) -> HttpResponse:
    try:
        endpoints.send_again(delivery=get_object_or_404(queries.deliveries(), pk=pk))
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request, _("It is on its way. Load the page again to see what was answered.")
        )
    return redirect("webhooks:delivery", pk=pk)


def _secret_page(
    request: HttpRequest, endpoint: Endpoint, secret: str, *, is_renewed: bool = False
) -> HttpResponse:
    context = {"endpoint": endpoint, "secret": secret, "is_renewed": is_renewed}
    return render(request, "webhooks/secret.html", context)

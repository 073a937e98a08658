"""Pages of the services on offer: listed, added, changed."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.pricing.forms.services import ServiceChangeForm, ServiceForm
from apiary_sales.pricing.models import Service
from apiary_sales.pricing.services import service_list
from inventory.shared.views import ActView


@require_safe
def services(request: HttpRequest) -> HttpResponse:
    rows = Service.objects.order_by("-is_active", "name")
    return render(request, "pricing/services.html", {"rows": rows})


@permission_required("pricing.manage_prices", raise_exception=True)
@require_POST
def add_usual(request: HttpRequest) -> HttpResponse:
    """Add the usual services that are not there yet."""
    made = service_list.add_usual()
    if made:
        sentence = ngettext(
            "%(count)d service is added.", "%(count)d services are added.", len(made)
        )
        messages.success(request, sentence % {"count": len(made)})
    else:
        messages.info(request, _("The usual services are there already."))
    return redirect("pricing:services")


class ServiceAddView(ActView):
    """Add a service."""

    permission_required = "pricing.manage_prices"
    form_class = ServiceForm
    template_name = "pricing/service_form.html"

    def act(self, data: dict[str, Any]) -> Service:
        return service_list.add(**data)

    def done_message(self, made: Service) -> str:
        return _("%(service)s is added.") % {"service": made.name}

    def next_url(self, made: Service) -> str:
        return reverse("pricing:services")


class ServiceChangeView(ServiceAddView):
    """Change a service, or take it out of use."""

    form_class = ServiceChangeForm

    @cached_property
    def service(self) -> Service:
        return get_object_or_404(Service, code=self.kwargs["code"])

    def edited(self) -> Model:
        return self.service

    def get_initial(self) -> dict[str, Any]:
        names = ("name", "unit", "usual_price", "unit_cost", "taxed_as", "is_active")
        return {name: getattr(self.service, name) for name in names}

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(service=self.service, **kwargs)

    def act(self, data: dict[str, Any]) -> Service:
        return service_list.change(service=self.service, **data)

    def done_message(self, made: Service) -> str:
        return _("%(service)s is changed.") % {"service": made.name}

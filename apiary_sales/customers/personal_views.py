"""Pages of what the house holds of a customer as a person: shown, given out, erased."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from apiary_sales.customers import personal_queries
from apiary_sales.customers.models import Customer, Erasure
from apiary_sales.customers.services import personal_data as erasing
from apiary_sales.customers.views import manages_customers
from inventory.shared.forms.acts import ActForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView

ERASE = "customers.erase_customers"


class EraseForm(ActForm):
    asked = forms.CharField(
        label=gettext_lazy("Who asked for it, and how"),
        max_length=200,
        help_text=gettext_lazy("For example: by e-mail on November 3. Don't repeat the name."),
    )


@require_safe
@manages_customers
def personal_data(request: HttpRequest, pk: int) -> HttpResponse:
    """Show all that is held of a customer, and what of it stays when it is erased."""
    customer = get_object_or_404(Customer.objects.select_related("erasure__erased_by"), pk=pk)
    context = {
        "customer": customer,
        "erasure": getattr(customer, "erasure", None),
        "held": personal_queries.held_of(customer),
    }
    return render(request, "customers/personal_data.html", context)


@require_safe
@manages_customers
def personal_file(request: HttpRequest, pk: int) -> HttpResponse:
    """Give out all that is held of a customer, as the customer may ask."""
    customer = get_object_or_404(Customer, pk=pk)
    response = HttpResponse(personal_queries.file_of(customer), content_type="application/zip")
    name = _("personal data of customer %(number)s.zip") % {"number": customer.pk}
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    response["Cache-Control"] = "private, no-store"
    return response


class EraseView(ActView):
    """Erase what the books need not keep of a customer."""

    permission_required = ERASE
    form_class = EraseForm
    template_name = "customers/personal_erase.html"

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        held = personal_queries.held_of(self.customer)
        return super().get_context_data(
            customer=self.customer,
            erased=[data for data in held if not data.stays],
            stays=[data for data in held if data.stays],
            needed=personal_queries.still_needed(self.customer),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> Erasure:
        return erasing.erase(customer=self.customer, erased_by=person_of(self.request), **data)

    def done_message(self, made: Erasure) -> str:
        return _("The data is erased. What the books must keep is still there.")

    def next_url(self, made: Erasure) -> str:
        return reverse("customers:personal_data", args=[self.customer.pk])

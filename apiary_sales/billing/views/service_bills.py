"""The page that bills a customer for services at once."""

from typing import Any

from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from apiary_sales.billing.forms.service_bills import BillServiceForm
from apiary_sales.billing.models import Invoice
from apiary_sales.billing.services import service_bills
from apiary_sales.customers.models import Customer
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView


class BillServiceView(ActView):
    """Bill a fee, interest or work that is done."""

    permission_required = ("billing.issue_invoices", "orders.take_orders")
    form_class = BillServiceForm
    template_name = "billing/service_bill.html"

    @cached_property
    def customer(self) -> Customer:
        return get_object_or_404(Customer, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(customer=self.customer, **kwargs)

    def act(self, data: dict[str, Any]) -> Invoice:
        return service_bills.bill(
            customer=self.customer,
            lines=self.form.lines,
            billed_on=data["billed_on"],
            note=data["note"],
            over_limit=data["over_limit"],
            billed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Invoice) -> str:
        return _("Invoice %(invoice)s is issued for %(total)s.") % {
            "invoice": made,
            "total": words.money(made.total_cents),
        }

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:invoice_detail", args=[made.pk])

    repeat_url = next_url

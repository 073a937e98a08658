"""The sales report of a shop: what it sold of ours, invoiced."""

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.models import ConsignmentReport
from apiary_sales.billing.services import consignment_reports
from apiary_sales.orders.forms.trade import ConsignmentReportForm
from apiary_sales.orders.queries import consignments as found
from apiary_sales.orders.views.consignments import ShelfActView
from inventory.shared.people import person_of


class ConsignmentReportView(ShelfActView):
    permission_required = "billing.issue_invoices"
    form_class = ConsignmentReportForm
    template_name = "billing/consignment_report.html"
    heading = gettext_lazy("Enter the sales report")
    lead = gettext_lazy(
        "Enter what the shop says it sold. It is taken off the shelf, oldest lot first, and "
        "invoiced at the agreed prices."
    )
    button = gettext_lazy("Invoice what was sold")

    def get_form_kwargs(self) -> dict[str, Any]:
        [contents] = found.contents([self.shelf])
        return {**super().get_form_kwargs(), "contents": contents}

    def get_initial(self) -> dict[str, Any]:
        return {"sold_from": ConsignmentReport.objects.next_day(self.shelf)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        reports = ConsignmentReport.objects.standing().filter(shelf=self.shelf)
        reports = reports.select_related("invoice")[:5]
        return {**super().get_context_data(**kwargs), "shelf": self.shelf, "reports": reports}

    def act(self, data: dict[str, Any]) -> ConsignmentReport:
        return consignment_reports.enter(
            shelf=self.shelf,
            lines=self.form.lines,
            sold_from=data["sold_from"],
            sold_until=data["sold_until"],
            reference=data["reference"],
            entered_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: ConsignmentReport) -> str:
        return _("The report is entered and invoice %(invoice)s issued.") % {
            "invoice": made.invoice
        }

    def next_url(self, made: ConsignmentReport) -> str:
        return reverse("billing:invoice_detail", args=[made.invoice_id])

"""Many papers as one PDF: what the filters of a list show, or all who owe."""

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from apiary_sales.billing import printing
from apiary_sales.billing.forms.money import InvoiceFilterForm, StatementForm
from apiary_sales.billing.queries import money
from inventory.shared.people import person_of

SEE = "billing.view_money"


@require_POST
@permission_required(SEE, raise_exception=True)
def print_invoices(request: HttpRequest) -> HttpResponse:
    """Begin to print the invoices that the filters in the address show."""
    form = InvoiceFilterForm(request.GET)
    form.is_valid()
    asked = {name: form.cleaned_data[name] for name in form.fields if name in form.cleaned_data}
    found = money.invoices(**asked, on=timezone.localdate()).values_list("pk", flat=True)
    pks = list(found[: printing.PAPERS_MAX + 1])
    if not 0 < len(pks) <= printing.PAPERS_MAX:
        messages.error(
            request,
            _("Choose up to %(most)s invoices: narrow the list by days or state.")
            % {"most": printing.PAPERS_MAX},
        )
        return redirect(f"{reverse('billing:invoice_list')}?{request.GET.urlencode()}")
    work = printing.begin_invoices(pks=pks, started_by=person_of(request))
    return redirect("inventory:long_work", work.pk)


@require_POST
@permission_required(SEE, raise_exception=True)
def print_statements(request: HttpRequest) -> HttpResponse:
    """Begin to print the statement of everybody who owes something, from January to today."""
    owing = money.owing(timezone.localdate()).accounts
    pks = [account.customer.pk for account in owing if account.aging.total]
    if not pks:
        messages.info(request, _("Nobody owes anything."))
        return redirect("billing:money")
    since, until = StatementForm(request.GET).days()
    work = printing.begin_statements(
        pks=pks[: printing.PAPERS_MAX], since=since, until=until, started_by=person_of(request)
    )
    return redirect("inventory:long_work", work.pk)

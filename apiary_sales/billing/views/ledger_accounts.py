"""The chart of accounts: what each account of the journal is called."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing.chart_of_accounts import ChartAccount
from apiary_sales.billing.forms.ledger_accounts import AccountForm
from apiary_sales.billing.models import LedgerAccount
from apiary_sales.billing.queries import journal
from apiary_sales.billing.services import ledger_accounts
from inventory.shared.views import ActView


@require_GET
@permission_required("billing.view_money", raise_exception=True)
def account_list(request: HttpRequest) -> HttpResponse:
    """Show every account of the journal, in the order of the numbers."""
    return render(request, "billing/accounts.html", {"accounts": journal.chart().values()})


class AccountView(ActView):
    """Give an account another number and name."""

    permission_required = "billing.manage_accounts"
    form_class = AccountForm
    template_name = "billing/account.html"

    @cached_property
    def account(self) -> ChartAccount:
        try:
            return journal.chart()[self.kwargs["key"]]
        except KeyError:
            raise Http404(_("That account was not found.")) from None

    def edited(self) -> Model:
        return LedgerAccount.objects.filter(key=self.kwargs["key"]).first() or LedgerAccount()

    def get_initial(self) -> dict[str, Any]:
        return {"number": self.account.number, "name": str(self.account.name)}

    def act(self, data: dict[str, Any]) -> LedgerAccount:
        return ledger_accounts.change(account=self.account, **data)

    def done_message(self, made: LedgerAccount) -> str:
        return _("The account is %(account)s now.") % {"account": made}

    def next_url(self, made: LedgerAccount) -> str:
        return reverse("billing:accounts")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "account": self.account}

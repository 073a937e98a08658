"""Money moved between the accounts of the house."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.money_moves import MoveMoneyForm, value_of
from apiary_sales.billing.models import EntryLine, MoneyMove
from apiary_sales.billing.queries import money_moves as queries
from apiary_sales.billing.services import money_moves
from apiary_sales.billing.views.cash import UndoView
from inventory.shared import words
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.views import ActView

SEE = "billing.view_money"
TAKE = "billing.take_payments"
# More digits than an amount of money has are no amount.
DIGITS_MAX = 11
Account = EntryLine.Account


def query_of_tax(tax_cents: int, period: str) -> QueryDict:
    """Return what the address of the form asks for, so that it has the tax of a return."""
    way = (Account.TRANSFER, Account.SALES_TAX)
    if tax_cents < 0:
        way = (Account.SALES_TAX, Account.TRANSFER)
    query = QueryDict(mutable=True)
    query.update({"what": value_of(*way), "cents": str(abs(tax_cents)), "note": period})
    return query


@require_GET
@permission_required(SEE, raise_exception=True)
def money_move_list(request: HttpRequest) -> HttpResponse:
    """Show the money that was moved, the newest first."""
    days = by_days(request, queries.money_moves(), "moved_on")
    return render(request, "billing/money_moves.html", {"days": days, "page_obj": days.page})


@require_GET
@permission_required(SEE, raise_exception=True)
def money_move(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(queries.money_moves().select_related("entry"), pk=pk)
    return render(request, "billing/money_move.html", {"move": found})


class MoveMoneyView(ActView):
    """Move money; another page may fill in what, how much and the note."""

    permission_required = TAKE
    form_class = MoveMoneyForm
    template_name = "billing/money_move_create.html"

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET
        cents = asked.get("cents", "")
        is_amount = cents.isascii() and cents.isdecimal() and len(cents) <= DIGITS_MAX
        return {
            "what": asked.get("what", ""),
            "amount": int(cents) if is_amount and int(cents) else None,
            "note": asked.get("note", ""),
        }

    def act(self, data: dict[str, Any]) -> MoneyMove:
        from_account, to_account = data["what"]
        return money_moves.move(
            from_account=from_account,
            to_account=to_account,
            cents=data["amount"],
            fee_cents=data["fee"] or 0,
            moved_on=data["moved_on"],
            reference=data["reference"],
            note=data["note"],
            moved_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: MoneyMove) -> str:
        return _("Recorded: %(what)s, %(amount)s.") % {
            "what": made.what,
            "amount": words.money(made.cents),
        }

    def next_url(self, made: MoneyMove) -> str:
        return made.get_absolute_url()

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(kept=queries.kept(), **kwargs)


class UndoMoveView(UndoView):
    model = MoneyMove

    def heading(self) -> str:
        return _("Undo: %(what)s, %(amount)s") % {
            "what": self.document.what,
            "amount": words.money(self.document.cents),
        }

    def act(self, data: dict[str, Any]) -> MoneyMove:
        return money_moves.undo(
            money_move=self.document, undone_by=person_of(self.request), reason=data["reason"]
        )

    def next_url(self, made: MoneyMove) -> str:
        return reverse("billing:money_move", args=[self.document.pk])

"""Pages of expenses, and of those that come again."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.billing.forms.expenses import (
    ExpenseEnterForm,
    ExpenseFilterForm,
    RecurringForm,
)
from apiary_sales.billing.forms.purchasing import UndoEntryForm
from apiary_sales.billing.models import Expense, RecurringExpense
from apiary_sales.billing.queries import expenses as queries
from apiary_sales.billing.services import expenses
from inventory.shared import words
from inventory.shared.csv_files import csv_response
from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView

MANAGE = "billing.manage_purchases"
PAGE_LENGTH = 50

manages = permission_required(MANAGE, raise_exception=True)


@require_GET
@manages
def expense_list(request: HttpRequest) -> HttpResponse:
    """Answer: what was spent this year, on what, in which month, and what is due again."""
    form = ExpenseFilterForm(request.GET)
    asked = form.asked()
    found = queries.expenses(**asked)
    page = Paginator(found, PAGE_LENGTH).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "asked": asked,
        "page_obj": page,
        "total_cents": queries.total_cents(found),
        "by_month": queries.by_month(asked["since"], asked["until"]),
        "proposals": queries.proposals(timezone.localdate()),
    }
    return render(request, "billing/buying/expenses.html", context)


@require_GET
@manages
def expense_list_csv(request: HttpRequest) -> HttpResponse:
    found = queries.expenses(**ExpenseFilterForm(request.GET).asked())
    return csv_response("expenses.csv", queries.expense_rows(found))


@require_GET
@manages
def expense_months_csv(request: HttpRequest) -> HttpResponse:
    asked = ExpenseFilterForm(request.GET).asked()
    found = queries.by_month(asked["since"], asked["until"])
    return csv_response("expenses-by-month.csv", queries.by_month_rows(found))


@require_GET
@manages
def expense_detail(request: HttpRequest, pk: int) -> HttpResponse:
    return render(request, "billing/buying/expense.html", {"expense": _expense(pk)})


def _expense(pk: int) -> Expense:
    return get_object_or_404(queries.expenses().select_related("undone_by"), pk=pk)


class EnterExpenseView(ActView):
    """Enter money that was spent; `?recurring=` enters the next one of what comes again."""

    permission_required = MANAGE
    form_class = ExpenseEnterForm
    template_name = "billing/buying/expense_form.html"

    def prepare(self) -> None:
        key = row_key(self.request.GET.get("recurring"))
        self.recurring = get_object_or_404(RecurringExpense, pk=key) if key else None

    def get_initial(self) -> dict[str, Any]:
        if self.recurring is None:
            return {}
        again = self.recurring
        return {
            "payee": again.payee,
            "category": again.category,
            "amount": again.amount_cents,
            "tax": again.tax_cents or None,
            "paid_by": again.paid_by,
            "spent_on": min(again.next_on, timezone.localdate()),
            "season": again.next_on.year if again.for_season else None,
            "note": again.note,
        }

    def act(self, data: dict[str, Any]) -> Expense:
        return expenses.enter(
            payee=data["payee"],
            category=data["category"],
            amount_cents=data["amount"],
            tax_cents=data["tax"] or 0,
            paid_by=data["paid_by"],
            spent_on=data["spent_on"],
            season=data["season"],
            note=data["note"],
            file=data["file"],
            recurring=self.recurring,
            entered_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Expense) -> str:
        return _("%(amount)s for %(category)s, paid to %(payee)s, is entered.") % {
            "amount": words.money(made.amount_cents),
            "category": made.get_category_display(),
            "payee": made.payee,
        }

    def next_url(self, made: Expense) -> str:
        return reverse("billing:expense", args=[made.pk])

    repeat_url = next_url


class UndoExpenseView(ActView):
    """Undo an expense by the opposite entry."""

    permission_required = MANAGE
    form_class = UndoEntryForm
    template_name = "billing/buying/undo.html"

    def prepare(self) -> None:
        self.expense = _expense(self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        expense = self.expense
        changes = [
            (
                _("Taken off what was spent on %(category)s")
                % {"category": expense.get_category_display()},
                expense.amount_cents - expense.tax_cents,
            )
        ]
        if expense.season_expense:
            changes.append(
                (
                    _("Taken off the expenses of the honey of %(season)s")
                    % {"season": expense.season_expense.season},
                    expense.season_expense.amount_cents,
                )
            )
        return super().get_context_data(
            heading=_("Undo the expense of %(amount)s")
            % {"amount": words.money(expense.amount_cents)},
            changes=changes,
            back_url=self.next_url(expense),
            button=_("Undo the expense"),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> Expense:
        return expenses.undo(
            expense=self.expense,
            undone_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: Expense) -> str:
        return _("The expense of %(amount)s is undone.") % {
            "amount": words.money(made.amount_cents)
        }

    def next_url(self, made: Expense) -> str:
        return reverse("billing:expense", args=[made.pk])

    repeat_url = next_url


# ------------------------------------------------------------------ what comes again


@require_GET
@manages
def recurring_list(request: HttpRequest) -> HttpResponse:
    context = {
        "rows": RecurringExpense.objects.order_by("-is_active", "next_on", "id"),
        "proposals": queries.proposals(timezone.localdate()),
    }
    return render(request, "billing/buying/recurring.html", context)


class AddRecurringView(ActView):
    permission_required = MANAGE
    form_class = RecurringForm
    template_name = "billing/buying/recurring_form.html"

    def details(self, data: dict[str, Any]) -> dict[str, Any]:
        names = ("payee", "category", "paid_by", "rhythm", "next_on", "note")
        return {
            **{name: data[name] for name in (*names, "for_season", "is_active")},
            "amount_cents": data["amount"],
            "tax_cents": data["tax"] or 0,
        }

    def act(self, data: dict[str, Any]) -> RecurringExpense:
        return expenses.add_recurring(key=data["key"], **self.details(data))

    def done_message(self, made: RecurringExpense) -> str:
        return _("Saved. It is proposed on its day.")

    def next_url(self, made: RecurringExpense) -> str:
        return reverse("billing:recurring_list")

    repeat_url = next_url


class ChangeRecurringView(AddRecurringView):
    def prepare(self) -> None:
        self.recurring = get_object_or_404(RecurringExpense, pk=self.kwargs["pk"])

    def edited(self) -> Model:
        return self.recurring

    def get_initial(self) -> dict[str, Any]:
        again = self.recurring
        names = ("payee", "category", "paid_by", "rhythm", "next_on", "note")
        return {
            **{name: getattr(again, name) for name in (*names, "for_season", "is_active")},
            "amount": again.amount_cents,
            "tax": again.tax_cents or None,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(recurring=self.recurring, **kwargs)

    def act(self, data: dict[str, Any]) -> RecurringExpense:
        return expenses.change_recurring(self.recurring, **self.details(data))


@require_POST
@manages
def recurring_enter(request: HttpRequest, pk: int) -> HttpResponse:
    """Enter the proposed one with one click; the key is the proposal's own."""
    recurring, due_on, key = _proposed(request, pk, "enter")
    try:
        made = expenses.enter_next(
            recurring=recurring, due_on=due_on, entered_by=person_of(request), key=key
        )
    except AlreadyRecorded as repeat:
        messages.info(request, repeat.message)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(
            request,
            _("%(amount)s for %(category)s, paid to %(payee)s, is entered.")
            % {
                "amount": words.money(made.amount_cents),
                "category": made.get_category_display(),
                "payee": made.payee,
            },
        )
    return redirect("billing:expense_list")


@require_POST
@manages
def recurring_skip(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that the proposed one did not come this time."""
    recurring, due_on, key = _proposed(request, pk, "skip")
    try:
        expenses.skip_next(
            recurring=recurring, due_on=due_on, skipped_by=person_of(request), key=key
        )
    except AlreadyRecorded as repeat:
        messages.info(request, repeat.message)
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("Skipped this time. The next one is proposed on its day."))
    return redirect("billing:expense_list")


def _proposed(request: HttpRequest, pk: int, act: str) -> tuple[RecurringExpense, Any, str]:
    """Return what is proposed, the day that was shown, and the key that stands for both."""
    recurring = get_object_or_404(RecurringExpense, pk=pk)
    try:
        due_on = parse_date(request.POST.get("due_on", "")) or recurring.next_on
    except ValueError:
        # Well formed, but no day of the calendar.
        due_on = recurring.next_on
    return recurring, due_on, f"recurring-{act}-{recurring.pk}-{due_on.isoformat()}"

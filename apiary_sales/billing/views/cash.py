"""Money brought to the bank, counted and looked back at, and what the books begin with."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing import papers
from apiary_sales.billing.forms.cash import (
    CashBookForm,
    CashCountForm,
    DepositSlipForm,
    FirstNumberForm,
    OpeningAmountForm,
    OpeningCreditForm,
    OpeningInvoiceForm,
)
from apiary_sales.billing.forms.payments import UndoReasonForm
from apiary_sales.billing.models import (
    CashCount,
    DepositSlip,
    Invoice,
    OpeningAmount,
    Payment,
)
from apiary_sales.billing.queries.cash_book import cash_book
from apiary_sales.billing.queries.number_series import number_series
from apiary_sales.billing.services import cash_counts, deposit_slips, opening
from inventory.shared import documents, words
from inventory.shared.csv_files import csv_response
from inventory.shared.money import amount
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Counter
from inventory.stock.services import numbers

SEE = "billing.view_money"
ISSUE = "billing.issue_invoices"
TAKE = "billing.take_payments"


# ------------------------------------------------------------------ deposit slips


@require_GET
@permission_required(SEE, raise_exception=True)
def deposit_slip_list(request: HttpRequest) -> HttpResponse:
    """Show the deposit slips, and what could be brought to the bank now."""
    here = deposit_slips.checks_here()
    days = by_days(request, DepositSlip.objects.all(), "deposited_on")
    context = {
        "days": days,
        "page_obj": days.page,
        "checks": len(here),
        "checks_cents": sum(payment.face_cents for payment in here),
        "cash_cents": deposit_slips.cash_there_cents(),
    }
    return render(request, "billing/deposit_slip_list.html", context)


class DepositSlipView(ActView):
    """Put checks and cash on a deposit slip."""

    permission_required = TAKE
    form_class = DepositSlipForm
    template_name = "billing/deposit_slip_create.html"

    def prepare(self) -> None:
        self.here = deposit_slips.checks_here()
        self.cash_cents = max(0, deposit_slips.cash_there_cents())

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "here": self.here}

    def get_initial(self) -> dict[str, Any]:
        last = DepositSlip.objects.first()
        return {
            "checks": [payment.pk for payment in self.here],
            "bank_account": last.bank_account if last else "",
        }

    def act(self, data: dict[str, Any]) -> DepositSlip:
        return deposit_slips.deposit(
            checks=list(data["checks"]),
            cash_cents=data["cash"],
            deposited_by=person_of(self.request),
            deposited_on=data["deposited_on"],
            bank_account=data["bank_account"],
            key=data["key"],
        )

    def done_message(self, made: DepositSlip) -> str:
        return _("Deposit slip %(slip)s over %(total)s is recorded.") % {
            "slip": made,
            "total": words.money(made.total_cents),
        }

    def next_url(self, made: DepositSlip) -> str:
        return reverse("billing:deposit_slip", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(cash_cents=self.cash_cents, **kwargs)


def _slip(pk: int) -> DepositSlip:
    return get_object_or_404(DepositSlip.objects.select_related("recorded_by", "undone_by"), pk=pk)


@require_GET
@permission_required(SEE, raise_exception=True)
def deposit_slip(request: HttpRequest, pk: int) -> HttpResponse:
    context = papers.deposit_slip_context(_slip(pk))
    return render(request, "billing/deposit_slip.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def deposit_slip_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    slip = _slip(pk)
    return documents.serve(
        request,
        name=_("Deposit slip %(number)s.pdf") % {"number": slip},
        template_name="documents/deposit_slip.html",
        context=papers.deposit_slip_context(slip),
    )


class UndoView(ActView):
    """Undo a document of the book of money, with a reason."""

    permission_required = TAKE
    form_class = UndoReasonForm
    template_name = "billing/undo.html"
    model: Any

    def prepare(self) -> None:
        self.document = get_object_or_404(self.model, pk=self.kwargs["pk"])

    def heading(self) -> str:
        """Say what would be undone."""
        raise NotImplementedError

    def done_message(self, made: Any) -> str:
        return _("It is undone.")

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(
            document=self.document,
            heading=self.heading(),
            back_url=self.next_url(self.document),
            **kwargs,
        )


class UndoDepositView(UndoView):
    model = DepositSlip

    def heading(self) -> str:
        return _("Undo deposit slip %(slip)s over %(total)s") % {
            "slip": self.document,
            "total": words.money(self.document.total_cents),
        }

    def act(self, data: dict[str, Any]) -> DepositSlip:
        return deposit_slips.undo(
            slip=self.document, undone_by=person_of(self.request), reason=data["reason"]
        )

    def next_url(self, made: DepositSlip) -> str:
        return reverse("billing:deposit_slip", args=[self.document.pk])


# ------------------------------------------------------------------ the cash book


@require_GET
@permission_required(SEE, raise_exception=True)
def cash_book_page(request: HttpRequest) -> HttpResponse:
    since, until, account = CashBookForm(request.GET).chosen()
    context = {
        "form": CashBookForm(initial={"since": since, "until": until, "account": account}),
        "book": cash_book(since, until, account),
        "account": account,
    }
    return render(request, "billing/cash_book.html", context)


@require_GET
@permission_required(SEE, raise_exception=True)
def cash_book_csv(request: HttpRequest) -> HttpResponse:
    """Answer with the cash book as a table, a line a document, with the opening first."""
    since, until, account = CashBookForm(request.GET).chosen()
    book = cash_book(since, until, account)
    rows: list[list[Any]] = [[_("Day"), _("Money"), _("Document"), _("In"), _("Out"), _("Balance")]]
    for kind in book.accounts:
        rows.append([since, kind.name, _("Opening"), None, None, amount(kind.opening_cents)])
    for line in book.lines:
        rows.append(
            [
                line.day,
                line.account_name,
                line.text,
                amount(line.in_cents),
                amount(line.out_cents),
                amount(line.balance_cents),
            ]
        )
    for kind in book.accounts:
        rows.append(
            [
                until,
                kind.name,
                _("Closing"),
                amount(kind.in_cents),
                amount(kind.out_cents),
                amount(kind.closing_cents),
            ]
        )
    name = _("Cash book %(since)s %(until)s.csv") % {"since": since, "until": until}
    return csv_response(name, rows)


# ------------------------------------------------------------------ cash counted


@require_GET
@permission_required(SEE, raise_exception=True)
def cash_count_list(request: HttpRequest) -> HttpResponse:
    found = CashCount.objects.select_related("recorded_by")
    days = by_days(request, found, "counted_on")
    context = {"days": days, "page_obj": days.page}
    return render(request, "billing/cash_count_list.html", context)


class CashCountView(ActView):
    """Count the cash at the end of a day."""

    permission_required = TAKE
    form_class = CashCountForm
    template_name = "billing/cash_count.html"

    def act(self, data: dict[str, Any]) -> CashCount:
        return cash_counts.count(
            counted_cents=data["counted"],
            counted_on=data["counted_on"],
            note=data["note"],
            counted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: CashCount) -> str:
        if not made.difference_cents:
            return _("Counted %(counted)s: as in the books.") % {
                "counted": words.money(made.counted_cents)
            }
        return _("Counted %(counted)s; the difference of %(difference)s is posted.") % {
            "counted": words.money(made.counted_cents),
            "difference": words.money(made.difference_cents),
        }

    def next_url(self, made: Any) -> str:
        return reverse("billing:cash_counts")

    repeat_url = next_url


class UndoCashCountView(UndoView):
    model = CashCount

    def heading(self) -> str:
        return _("Undo the count of %(counted)s") % {
            "counted": words.money(self.document.counted_cents)
        }

    def act(self, data: dict[str, Any]) -> CashCount:
        return cash_counts.undo(
            cash_count=self.document, undone_by=person_of(self.request), reason=data["reason"]
        )

    def next_url(self, made: Any) -> str:
        return reverse("billing:cash_counts")


# ------------------------------------------------------------------ opening


@require_GET
@permission_required(SEE, raise_exception=True)
def opening_page(request: HttpRequest) -> HttpResponse:
    """Show what the books began with, and what can still be entered."""
    invoices = Invoice.objects.of_before().select_related("customer")
    credits = Payment.objects.opening_credits()
    context = {
        "invoices": invoices.order_by("customer__name", "issued_on"),
        # Sorted here: joined for their names, customers would be gone through from the first.
        "credits": sorted(
            credits.select_related("reversed_by").prefetch_related("customer"),
            key=lambda credit: str(credit.customer),
        ),
        "amounts": OpeningAmount.objects.order_by("id"),
        "series": number_series(),
    }
    return render(request, "billing/opening.html", context)


class OpeningView(ActView):
    """Enter something that the books begin with."""

    permission_required = ISSUE
    template_name = "billing/opening_form.html"

    def next_url(self, made: Any) -> str:
        return reverse("billing:opening")

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(heading=self.said(), **kwargs)

    def said(self) -> str:
        """Say what is entered on this page."""
        raise NotImplementedError


class OpeningInvoiceView(OpeningView):
    form_class = OpeningInvoiceForm

    def said(self) -> str:
        return _("An invoice that is still to be paid")

    def act(self, data: dict[str, Any]) -> Invoice:
        return opening.owe(
            amount_cents=data.pop("amount"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: Invoice) -> str:
        return _("%(customer)s owes %(amount)s on invoice %(invoice)s.") % {
            "customer": made.customer,
            "amount": words.money(made.total_cents),
            "invoice": made,
        }


class OpeningCreditView(OpeningView):
    form_class = OpeningCreditForm

    def said(self) -> str:
        return _("Money or a credit that a customer has with you")

    def act(self, data: dict[str, Any]) -> Payment:
        return opening.credit(
            amount_cents=data.pop("amount"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: Payment) -> str:
        return _("%(customer)s has %(amount)s on account.") % {
            "customer": made.customer,
            "amount": words.money(made.amount_cents),
        }


class OpeningAmountView(OpeningView):
    form_class = OpeningAmountForm

    def said(self) -> str:
        return _("Money in the drawer and the bank")

    def act(self, data: dict[str, Any]) -> OpeningAmount:
        return opening.amount(
            amount_cents=data.pop("amount"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: OpeningAmount) -> str:
        return _("The books begin with %(amount)s: %(account)s.") % {
            "amount": words.money(made.amount_cents),
            "account": made.get_account_display(),
        }


class UndoOpeningAmountView(UndoView):
    permission_required = ISSUE
    model = OpeningAmount

    def heading(self) -> str:
        return _("Undo the opening amount of %(amount)s: %(account)s") % {
            "amount": words.money(self.document.amount_cents),
            "account": self.document.get_account_display(),
        }

    def act(self, data: dict[str, Any]) -> OpeningAmount:
        return opening.undo_amount(
            opening=self.document, undone_by=person_of(self.request), reason=data["reason"]
        )

    def next_url(self, made: Any) -> str:
        return reverse("billing:opening")


class FirstNumberView(OpeningView):
    """Let a series of numbers go on from where it was elsewhere."""

    form_class = FirstNumberForm

    def said(self) -> str:
        return _("The first number of a series")

    def get_form_kwargs(self) -> dict[str, Any]:
        series = [(each.series, each.name) for each in number_series() if not each.has_begun]
        return {**super().get_form_kwargs(), "series": series}

    def act(self, data: dict[str, Any]) -> Counter:
        return numbers.begin_at(data["series"], number=data["number"])

    def done_message(self, made: Counter) -> str:
        return _("The next number of this series is %(number)s.") % {"number": made.first}

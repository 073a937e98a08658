"""Close the books and open them again, and see what was owed on a day."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.closing import CloseForm, OpenAgainForm, OwedOnForm
from apiary_sales.billing.queries import as_of, closing
from apiary_sales.billing.services import closing as closing_services
from inventory.shared.models import BooksLock
from inventory.shared.people import person_of
from inventory.shared.services import books_lock
from inventory.shared.views import ActView
from inventory.stock.models import Seal

LATE_SHOWN = 100


class CloseView(ActView):
    """Show up to which day the books are closed, what counts later, and close further days."""

    permission_required = "inventory.lock_books"
    form_class = CloseForm
    template_name = "billing/closing.html"

    def act(self, data: dict[str, Any]) -> BooksLock:
        return closing_services.close(
            until=data["until"],
            locked_by=person_of(self.request),
            key=data["key"],
            note=data["note"],
        )

    def done_message(self, made: BooksLock) -> str:
        day = date_format(made.locked_until) if made.locked_until else ""
        return _("The books are closed up to %(day)s.") % {"day": day}

    def next_url(self, made: BooksLock) -> str:
        return reverse("billing:closing")

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "locked_until": BooksLock.objects.locked_until(),
            "seal": Seal.objects.newest(),
            "history": BooksLock.objects.select_related("locked_by"),
            "late_entries": closing.late_entries()[:LATE_SHOWN],
            "late_postings": closing.late_postings()[:LATE_SHOWN],
        }


class OpenAgainView(ActView):
    permission_required = "inventory.lock_books"
    form_class = OpenAgainForm
    template_name = "billing/open_again.html"

    def act(self, data: dict[str, Any]) -> BooksLock:
        return books_lock.open_again(
            until=data["until"],
            locked_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
        )

    def done_message(self, made: BooksLock) -> str:
        if made.locked_until is None:
            return _("The books are open on every day.")
        return _("The books are open again from the day after %(day)s.") % {
            "day": date_format(made.locked_until)
        }

    def next_url(self, made: BooksLock) -> str:
        return reverse("billing:closing")

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        until = BooksLock.objects.locked_until()
        return {**super().get_context_data(**kwargs), "locked_until": until}


@require_GET
@permission_required("billing.view_money", raise_exception=True)
def owed_on(request: HttpRequest) -> HttpResponse:
    """Show what each customer owed on a day, by how long it was overdue."""
    form = OwedOnForm(request.GET or None)
    asked = OwedOnForm(request.GET).as_of()
    context = {
        "form": form if form.is_bound else OwedOnForm(initial={"day": asked.day}),
        "as_of": asked,
        "owing": as_of.receivables(asked),
    }
    return render(request, "billing/owed_on.html", context)

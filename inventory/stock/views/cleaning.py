"""The cleaning schedule, and the log of what was cleaned: marked, taken back, printed, as CSV."""

from datetime import date
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.shared import documents
from inventory.shared.csv_files import csv_response
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.days import PeriodForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.forms.cleaning import CleaningForm, CleaningTaskForm
from inventory.stock.models import Cleaning, CleaningTask
from inventory.stock.queries import cleaning as queries
from inventory.stock.services import cleaning

RECORD_CLEANING = "inventory.record_cleaning"
ROWS_A_PAGE = 50
PAPER = "documents/cleaning_log.html"

may_record = permission_required(RECORD_CLEANING, raise_exception=True)
MANAGE_PLACES = "inventory.manage_places"

manages_places = permission_required(MANAGE_PLACES, raise_exception=True)


@require_safe
@may_record
def cleaning_home(request: HttpRequest) -> HttpResponse:
    """What is cleaned in the house, due first."""
    rows = queries.rows(with_unused=request.user.has_perm("inventory.manage_places"))
    return render(request, "inventory/care/cleaning.html", {"rows": rows})


@require_safe
@may_record
def cleaning_log(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    page = Paginator(queries.log(since, until), ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "since": since, "until": until, "page": page}
    status = 422 if form.errors else 200
    return render(request, "inventory/care/cleaning_log.html", context, status=status)


@require_safe
@may_record
def cleaning_log_pdf(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    if form.errors:
        return cleaning_log(request)
    return documents.serve(
        request,
        name=f"{_('Cleaning log %(day)s') % {'day': until.isoformat()}}.pdf",
        template_name=PAPER,
        context=paper_context(since, until),
    )


def paper_context(since: date, until: date) -> dict[str, Any]:
    """Return what the log of some days shows on paper, the oldest cleaning first."""
    return {
        "since": since,
        "until": until,
        "cleanings": queries.log(since, until).reverse(),
        "rows": queries.rows(),
    }


@require_safe
@may_record
def cleaning_log_csv(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    if form.errors:
        return cleaning_log(request)
    name = f"{_('Cleaning log %(day)s') % {'day': until.isoformat()}}.csv"
    return csv_response(name, queries.table(queries.log(since, until).reverse()))


class CleaningTaskAddView(ActView):
    permission_required = MANAGE_PLACES
    template_name = "inventory/care/cleaning_task.html"
    form_class = CleaningTaskForm
    task: CleaningTask | None = None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(task=self.task, **kwargs)

    def act(self, data: dict[str, Any]) -> CleaningTask:
        return cleaning.save_task(task=self.task, **data)

    def done_message(self, made: CleaningTask) -> str:
        return _("Saved %(what)s.") % {"what": made.name}

    def next_url(self, made: CleaningTask) -> str:
        return reverse("inventory:cleaning")


class CleaningTaskEditView(CleaningTaskAddView):
    def prepare(self) -> None:
        self.task = get_object_or_404(CleaningTask, pk=self.kwargs["pk"])

    def edited(self) -> CleaningTask | None:
        return self.task

    def get_initial(self) -> dict[str, Any]:
        assert self.task is not None
        return _as_typed(self.task)


def _as_typed(task: CleaningTask) -> dict[str, Any]:
    return {
        "name": task.name,
        "kind": task.kind,
        "place": task.place.code if task.place else "",
        "schedule": task.schedule,
        "every_days": task.every_days,
        "used_for": task.used_for,
        "cleaned_with": task.cleaned_with,
        "is_active": task.is_active,
    }


class CleaningRecordView(ActView):
    """Mark something as cleaned."""

    permission_required = RECORD_CLEANING
    form_class = CleaningForm
    template_name = "inventory/care/cleaning_record.html"

    def prepare(self) -> None:
        found = CleaningTask.objects.select_related("place")
        self.task = get_object_or_404(found, pk=self.kwargs["pk"])

    def get_initial(self) -> dict[str, Any]:
        return {
            "cleaned_by": person_of(self.request).display_name,
            "cleaned_with": self.task.cleaned_with,
        }

    def act(self, data: dict[str, Any]) -> Cleaning:
        return cleaning.record(task=self.task, **data, recorded_by=person_of(self.request))

    def done_message(self, made: Cleaning) -> str:
        return _("%(what)s: cleaned on %(day)s.") % {
            "what": made.task.name,
            "day": date_format(made.cleaned_on),
        }

    def next_url(self, made: Cleaning) -> str:
        return reverse("inventory:cleaning")

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:cleaning")


class CleaningRemoveView(ActView):
    permission_required = RECORD_CLEANING
    form_class = ActForm
    template_name = "inventory/care/cleaning_remove.html"

    def prepare(self) -> None:
        found = Cleaning.objects.select_related("task")
        self.cleaning = get_object_or_404(found, pk=self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> Cleaning:
        return cleaning.remove(cleaning=self.cleaning, removed_by=person_of(self.request))

    def done_message(self, made: Cleaning) -> str:
        return _("The cleaning is removed.")

    def next_url(self, made: Cleaning) -> str:
        return reverse("inventory:cleaning_log")

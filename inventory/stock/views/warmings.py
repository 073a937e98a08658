"""The warming log: added to, taken back, printed and as CSV."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.shared import documents
from inventory.shared.csv_files import csv_response
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.days import PeriodForm
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.forms.warmings import WarmingForm
from inventory.stock.models import ProductionSettings, Warming
from inventory.stock.queries import warmings as queries
from inventory.stock.services import warmings

MOVE_HONEY = "inventory.move_honey"
ROWS_A_PAGE = 50
PAPER = "documents/warming_log.html"

may_move_honey = permission_required(MOVE_HONEY, raise_exception=True)


@require_safe
@may_move_honey
def warming_list(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    page = Paginator(queries.log(since, until), ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "since": since,
        "until": until,
        "page": page,
        "rows": queries.rows(page.object_list),
        "limit": ProductionSettings.current().warming_limit_celsius,
    }
    status = 422 if form.errors else 200
    return render(request, "inventory/care/warming_list.html", context, status=status)


@require_safe
@may_move_honey
def warming_list_pdf(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    if form.errors:
        return warming_list(request)
    return documents.serve(
        request,
        name=f"{_('Warming log %(day)s') % {'day': until.isoformat()}}.pdf",
        template_name=PAPER,
        context=paper_context(since, until),
    )


def paper_context(since: date, until: date) -> dict[str, Any]:
    """Return what the log of some days shows on paper, the oldest warming first."""
    return {
        "since": since,
        "until": until,
        "rows": queries.rows(queries.log(since, until).reverse()),
        "limit": ProductionSettings.current().warming_limit_celsius,
    }


@require_safe
@may_move_honey
def warming_list_csv(request: HttpRequest) -> HttpResponse:
    form, since, until = PeriodForm.asked(request.GET)
    if form.errors:
        return warming_list(request)
    rows = queries.rows(queries.log(since, until).reverse())
    name = f"{_('Warming log %(day)s') % {'day': until.isoformat()}}.csv"
    return csv_response(name, queries.table(rows))


class WarmingAddView(ActView):
    permission_required = MOVE_HONEY
    form_class = WarmingForm
    template_name = "inventory/care/warming_add.html"

    def get_initial(self) -> dict[str, Any]:
        return {
            "place": self.request.GET.get("place", ""),
            "warmed_by": person_of(self.request).display_name,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        limit = ProductionSettings.current().warming_limit_celsius
        return super().get_context_data(limit=limit, **kwargs)

    def act(self, data: dict[str, Any]) -> Warming:
        data["highest_celsius"] = data.pop("highest")
        return warmings.record(**data, recorded_by=person_of(self.request))

    def done_message(self, made: Warming) -> str:
        lots = ", ".join(lot.code for row in queries.rows([made]) for lot in row.lots)
        if not lots:
            return _(
                "Recorded for %(place)s. The books have no honey in it on these days, so no lot "
                "is named."
            ) % {"place": made.place}
        return _("Recorded for %(place)s: lot %(lots)s.") % {"place": made.place, "lots": lots}

    def done_level(self, made: Warming) -> int:
        return messages.WARNING if made.is_above_limit else messages.SUCCESS

    def next_url(self, made: Warming) -> str:
        return reverse("inventory:warming_list")

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:warming_list")


class WarmingRemoveView(ActView):
    permission_required = MOVE_HONEY
    form_class = ActForm
    template_name = "inventory/care/warming_remove.html"

    def prepare(self) -> None:
        found = Warming.objects.select_related("place")
        self.warming = get_object_or_404(found, pk=self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> Warming:
        return warmings.remove(warming=self.warming, removed_by=person_of(self.request))

    def done_message(self, made: Warming) -> str:
        return _("The warming is removed.")

    def next_url(self, made: Warming) -> str:
        return reverse("inventory:warming_list")

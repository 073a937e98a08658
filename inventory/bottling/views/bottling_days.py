"""Pages of bottling days: the list, the sheet, what it made; and settling estimated honey."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.formats import date_format
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from inventory.bottling.forms_days import BottlingDayForm, EstimateSettleForm
from inventory.bottling.models import BottlingDay, EstimateSettlement
from inventory.bottling.queries import bottling_days as queries
from inventory.bottling.services import bottling_days, estimates
from inventory.bottling.views.runs import RUN_BOTTLING, RunView
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.paging import by_days
from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView
from inventory.stock.models import Place, ProductionSettings
from inventory.stock.queries import shortages


def bottling_day_list(request: HttpRequest) -> HttpResponse:
    """Sheets that are not recorded yet, what is estimated still, and the days before."""
    days = by_days(request, queries.sheets(), "bottled_on")
    context = {
        "days": days,
        "sheets": days.page,
        "page": days.page,
        "to_settle": queries.to_settle(),
    }
    return render(request, "inventory/bottling/bottling_day_list.html", context)


def bottling_day(request: HttpRequest, pk: int) -> HttpResponse:
    """One bottling day: its runs, its dips beside the books, what settled it."""
    day = get_object_or_404(
        BottlingDay.objects.select_related(
            "source", "target", "saved_by", "dip_before", "dip_after", "skimming"
        ),
        pk=pk,
    )
    if not day.is_recorded:
        return HttpResponseRedirect(reverse("inventory:bottling_day_edit", args=[day.pk]))
    context = {"day": day, "result": queries.result_of(day)}
    return render(request, "inventory/bottling/bottling_day.html", context)


class DaySheetView(ActView):
    """The sheet of a vessel and a day: kept for later, or recorded, by the button pressed."""

    permission_required = RUN_BOTTLING
    form_class = BottlingDayForm
    template_name = "inventory/bottling/bottling_day_form.html"
    sheet: BottlingDay | None = None

    @cached_property
    def asked_source(self) -> Place | None:
        """The vessel of a new sheet."""
        return _asked_source(self.request)

    def get_form_kwargs(self) -> dict[str, Any]:
        source = self.sheet.source if self.sheet else self.asked_source
        return super().get_form_kwargs() | sheet_kwargs(self.request, self.sheet, source)

    def get_initial(self) -> dict[str, Any]:
        if self.sheet is not None:
            return {}
        source = self.asked_source
        return {"source": source.code if source else None, "bottled_on": _asked_day(self.request)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        return context | {
            "sheet": self.sheet,
            "preview": _preview(form) if form.is_bound else _preview_of_sheet(self.sheet),
            "has_target": form.fields["target"].queryset.exists(),
        }

    @property
    def saves_only(self) -> bool:
        return "save" in self.request.POST

    def act(self, data: dict[str, Any]) -> BottlingDay:
        key = data.pop("key")
        if self.sheet is not None:
            data["source"], data["bottled_on"] = self.sheet.source, self.sheet.bottled_on
        if self.saves_only:
            data.pop("moisture_is_right")
            return bottling_days.save(saved_by=person_of(self.request), **data)
        return bottling_days.record(recorded_by=person_of(self.request), key=key, **data)

    def done_message(self, made: BottlingDay) -> str:
        day = date_format(made.bottled_on)
        if not made.is_recorded:
            return _("The sheet of %(place)s for %(day)s is saved. No stock has moved yet.") % {
                "place": made.source.name,
                "day": day,
            }
        result = queries.result_of(made)
        said = ngettext(
            "Recorded %(count)s run from %(place)s on %(day)s: %(pieces)s.",
            "Recorded %(count)s runs from %(place)s on %(day)s: %(pieces)s.",
            len(result.runs),
        ) % {
            "count": len(result.runs),
            "place": made.source.name,
            "day": day,
            "pieces": words.pieces(result.pieces_filled),
        }
        if result.first_estimated:
            said += " " + _("The honey drawn is estimated. Dip the vessel to settle it.")
        if self._lacking(result):
            said += " " + _("The books had too little for it: see what is to be settled.")
        return said

    def done_level(self, made: BottlingDay) -> int:
        if made.is_recorded and self._lacking(queries.result_of(made)):
            return messages.WARNING
        return messages.SUCCESS

    def _lacking(self, result: queries.DayResult) -> bool:
        return any(
            shortages.of_posting(run.posting_id) for run in result.standing if run.posting_id
        )

    def uses_key_up(self, made: BottlingDay) -> bool:
        # A sheet that is kept for later may be recorded from the same page.
        return made.is_recorded

    def next_url(self, made: BottlingDay) -> str:
        name = "bottling_day" if made.is_recorded else "bottling_day_edit"
        return reverse(f"inventory:{name}", args=[made.pk])

    def repeat_url(self, made: BottlingDay) -> str:
        return self.next_url(made)


class BottlingDayCreateView(DaySheetView):
    """A new sheet; one that is open for the vessel and the day already is opened instead."""

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        sheet = BottlingDay.objects.filter(
            source=self.asked_source,
            bottled_on=_asked_day(request),
            status=BottlingDay.Status.DRAFT,
        ).first()
        if sheet:
            return HttpResponseRedirect(reverse("inventory:bottling_day_edit", args=[sheet.pk]))
        return super().get(request, *args, **kwargs)


class BottlingDayEditView(DaySheetView):
    """A sheet that was saved, whoever saved it."""

    def prepare(self) -> None:
        self.sheet = get_object_or_404(
            BottlingDay.objects.select_related("source", "saved_by", "dip_before__lot"),
            pk=self.kwargs["pk"],
        )

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        day = BottlingDay.objects.filter(pk=self.kwargs["pk"]).first()
        if day and day.is_recorded and request.user.has_perm(RUN_BOTTLING):
            if request.method == "POST":
                messages.info(request, _("This bottling day was recorded already."))
            return HttpResponseRedirect(reverse("inventory:bottling_day", args=[day.pk]))
        return super().dispatch(request, *args, **kwargs)


@permission_required(RUN_BOTTLING, raise_exception=True)
def bottling_day_preview(request: HttpRequest) -> HttpResponse:
    """Answer, while the sheet is typed, what recording it would do; nothing is saved."""
    days = BottlingDay.objects.select_related("source")
    sheet = days.filter(pk=row_key(request.GET.get("sheet"))).first()
    source = sheet.source if sheet else _asked_source(request)
    form = BottlingDayForm(request.GET, **sheet_kwargs(request, sheet, source))
    context = {"preview": _preview(form)}
    return render(request, "inventory/bottling/_bottling_day_preview.html", context)


@require_POST
@permission_required(RUN_BOTTLING, raise_exception=True)
def bottling_day_drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Throw away a sheet that was not recorded."""
    try:
        bottling_days.drop(day=get_object_or_404(BottlingDay, pk=pk))
    except HouseError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("The sheet is thrown away. No stock has moved."))
    return HttpResponseRedirect(reverse("inventory:bottling_day_list"))


class EstimateSettleView(RunView):
    """Settle the estimated runs of the vessel of a run by what is left in it."""

    form_class = EstimateSettleForm
    template_name = "inventory/bottling/settle.html"

    def get_form_kwargs(self) -> dict[str, Any]:
        lot = self.run.packed_lot
        first_day = lot.made_on if lot else self.run.planned_for
        return super().get_form_kwargs() | {"source": self.run.source, "first_day": first_day}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        runs, expected = queries.to_settle_until(form.source, form.first_day)
        return context | {
            "runs": runs,
            "expected_grams": expected,
            "estimated_grams": sum(run.drawn_grams or 0 for run in runs),
        }

    def act(self, data: dict[str, Any]) -> EstimateSettlement:
        return estimates.settle(
            source=self.run.source,
            measured_on=data["measured_on"],
            depth_mm=data["depth"],
            celsius=data["celsius"],
            honey_grams=data["weight"],
            figures_are_right=data["figures_are_right"],
            settled_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: EstimateSettlement) -> str:
        settled = made.settled_runs.count()
        figures = {
            "count": settled,
            "place": made.source.name,
            "difference": words.weight(abs(made.difference_grams), 1),
        }
        if made.difference_grams < 0:
            return (
                ngettext(
                    "Settled %(count)s run from %(place)s: it drew %(difference)s more than "
                    "estimated.",
                    "Settled %(count)s runs from %(place)s: together they drew %(difference)s more "
                    "than estimated.",
                    settled,
                )
                % figures
            )
        return (
            ngettext(
                "Settled %(count)s run from %(place)s: it drew %(difference)s less than estimated.",
                "Settled %(count)s runs from %(place)s: together they drew %(difference)s less "
                "than estimated.",
                settled,
            )
            % figures
        )


def sheet_kwargs(
    request: HttpRequest, sheet: BottlingDay | None, source: Place | None
) -> dict[str, Any]:
    """Return what the form of a sheet for a vessel needs to offer its rows."""
    day = sheet.bottled_on if sheet else _asked_day(request)
    return {
        "sheet": sheet,
        "products": queries.products_to_fill(source),
        "rows": queries.sheet_rows(source, day, sheet),
    }


def _asked_source(request: HttpRequest) -> Place | None:
    """Return the vessel in the address, else the one that a new sheet starts with."""
    asked = request.GET.get("from", "")
    if asked and "\x00" not in asked:
        found = Place.objects.filter(code=asked, kind__in=Place.VESSELS, is_active=True).first()
        if found:
            return found
    return queries.usual_source(_asked_day(request))


def _asked_day(request: HttpRequest) -> Any:
    try:
        asked = parse_date(request.GET.get("day", ""))
    except ValueError:
        asked = None
    return asked or timezone.localdate()


def _preview(form: BottlingDayForm) -> queries.DayPreview | None:
    form.is_valid()
    data = form.cleaned_data
    sheet = form.sheet
    source = sheet.source if sheet else data.get("source")
    day = sheet.bottled_on if sheet else data.get("bottled_on")
    if source is None or day is None:
        return None
    celsius = data.get("celsius")
    return queries.preview(
        source=source,
        bottled_on=day,
        rows=[
            (row.product, row.pieces_filled, row.pieces_broken)
            for row in data.get("rows", [])
            if row.pieces_filled
        ],
        celsius=ProductionSettings.current().honey_house_celsius if celsius is None else celsius,
        before_mm=data.get("before_mm"),
        after_mm=data.get("after_mm"),
        before_grams=data.get("before_grams"),
        after_grams=data.get("after_grams"),
        skimmed_grams=data.get("skimmed_grams") or 0,
        sheet=sheet,
    )


def _preview_of_sheet(sheet: BottlingDay | None) -> queries.DayPreview | None:
    """Work out what a sheet would do as it was saved."""
    if sheet is None:
        return None
    return queries.preview(
        source=sheet.source,
        bottled_on=sheet.bottled_on,
        rows=[
            (row.product, row.pieces_filled, row.pieces_broken)
            for row in sheet.rows.select_related("product__size")
            if row.pieces_filled
        ],
        celsius=ProductionSettings.current().honey_house_celsius
        if sheet.celsius is None
        else sheet.celsius,
        before_mm=sheet.before_mm,
        after_mm=sheet.after_mm,
        before_grams=sheet.before_grams,
        after_grams=sheet.after_grams,
        skimmed_grams=sheet.skimmed_grams,
        sheet=sheet,
    )

"""Pages of the bottling room: plan a run, record it, look at it, check its weights."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from inventory.bottling.forms import (
    FillCheckForm,
    LotReleaseForm,
    RunCancelForm,
    RunPlanForm,
    RunRecordForm,
)
from inventory.bottling.models import BottlingRun, FillCheck, Product
from inventory.bottling.queries import additions as addition_queries
from inventory.bottling.queries import bottling_days as day_queries
from inventory.bottling.queries import corrections, jar_pages, parts
from inventory.bottling.queries import fill_checks as check_queries
from inventory.bottling.queries import runs as run_queries
from inventory.bottling.rules import filling, labels
from inventory.bottling.rules.figures import RunFigures
from inventory.bottling.services import fill_checks, holds, runs
from inventory.shared import words
from inventory.shared.models import House
from inventory.shared.people import person_of, sees_costs
from inventory.shared.views import ActView
from inventory.stock.models import Lot, LotHold, ProductionSettings
from inventory.stock.queries import holds as hold_queries
from inventory.stock.queries import shortages
from inventory.stock.queries.shortages import ShortageRow

RUN_BOTTLING = "inventory.run_bottling"


def home(request: HttpRequest) -> HttpResponse:
    """What is planned, what to order, and how the last runs went."""
    context = {
        "overview": run_queries.overview(),
        "open_sheets": day_queries.open_sheets(),
        "to_settle": day_queries.to_settle(),
    }
    return render(request, "inventory/bottling/home.html", context)


def run_of(number: str) -> BottlingRun:
    """Return the run of this number with what its pages show."""
    runs_with_names = BottlingRun.objects.select_related(
        "product__item",
        "product__size",
        "product__variety",
        "source",
        "target",
        "lot__owner",
        "packed_lot__product",
        "recorded_by",
    )
    return get_object_or_404(runs_with_names, number=number)


class RunView(ActView):
    """An act on one run, whose number is in the address."""

    permission_required = RUN_BOTTLING

    @cached_property
    def run(self) -> BottlingRun:
        return run_of(self.kwargs["number"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(run=self.run, **kwargs)

    def next_url(self, made: Any) -> str:
        return reverse("inventory:run_detail", args=[self.run.number])

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)


class RunPlanView(ActView):
    permission_required = RUN_BOTTLING
    form_class = RunPlanForm
    template_name = "inventory/bottling/run_plan.html"

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET
        initial: dict[str, Any] = {}
        if product := Product.objects.filter(code=asked.get("product", "")).first():
            initial["product"] = product.pk
        if "from" in asked:
            initial["source"] = asked["from"]
        if asked.get("pieces", "").isdecimal():
            initial["pieces"] = asked["pieces"]
        return initial

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "preview" in request.POST:
            return self.render_to_response(self.get_context_data(form=self.get_form()))
        return super().post(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        return context | {
            "preview": _preview_of_plan(form) if form.is_bound else None,
            "missing": [
                name
                for name in ("product", "source", "target")
                if not form.fields[name].queryset.exists()
            ],
        }

    def act(self, data: dict[str, Any]) -> BottlingRun:
        return runs.plan(planned_by=person_of(self.request), **data)

    def done_message(self, made: BottlingRun) -> str:
        return _("Planned run %(number)s: %(pieces)s of %(product)s. Stamp %(lot)s on them.") % {
            "number": made.number,
            "pieces": words.pieces(made.pieces_planned),
            "product": made.product.name,
            "lot": made.lot_code,
        }

    def next_url(self, made: BottlingRun) -> str:
        if _is_past(made.planned_for):
            # It was made already: what it did is what comes next.
            address = reverse("inventory:run_record", args=[made.number])
            return f"{address}?day={made.planned_for:%Y-%m-%d}"
        return reverse("inventory:run_detail", args=[made.number])

    def repeat_url(self, made: BottlingRun) -> str:
        return self.next_url(made)


@permission_required(RUN_BOTTLING, raise_exception=True)
def run_plan_preview(request: HttpRequest) -> HttpResponse:
    """Answer, while the plan is typed, what the run needs; nothing is saved."""
    preview = _preview_of_plan(RunPlanForm(request.GET))
    return render(request, "inventory/bottling/_plan_preview.html", {"preview": preview})


def _preview_of_plan(form: RunPlanForm) -> run_queries.PlanPreview | None:
    form.is_valid()
    data = form.cleaned_data
    if not data.get("product") or not data.get("source") or (data.get("pieces") or 0) < 1:
        return None
    celsius = data.get("celsius")
    return run_queries.preview_plan(
        product=data["product"],
        source=data["source"],
        pieces=data["pieces"],
        celsius=ProductionSettings.current().honey_house_celsius if celsius is None else celsius,
        without_labels=data.get("without_labels", False),
        planned_for=data.get("planned_for"),
        wanted=form.wanted(),
        is_made=_is_past(data.get("planned_for")),
    )


def _is_past(day: date | None) -> bool:
    """Tell whether a run of this day was made already."""
    return day is not None and day < timezone.localdate()


def run_detail(request: HttpRequest, number: str) -> HttpResponse:
    """All there is to know about one run, and what can be done with it next."""
    run = run_of(number)
    figures = run_queries.figures_of(run)
    preview = None
    if run.status == BottlingRun.Status.PLANNED:
        preview = run_queries.preview_plan(
            product=run.product,
            source=run.source,
            pieces=run.pieces_planned,
            celsius=ProductionSettings.current().honey_house_celsius
            if run.celsius is None
            else run.celsius,
            planned_already=run,
            planned_for=run.planned_for,
            wanted=addition_queries.wanted_by(run),
        )
    context = {
        "run": run,
        "figures": figures,
        "addition": addition_queries.of_run(run),
        "settlements": day_queries.settlements_of(run) if figures else [],
        "sees_costs": sees_costs(request),
        "odd_fill": _underfill(figures) or _beyond_brim(run, figures),
        "preview": preview,
        "shortages": shortages.of_posting(run.posting_id) if run.posting_id else [],
        "parts": parts.uses_of(run) if figures else [],
        "checks": check_queries.checks_of(run),
        "dips": run_queries.dips_of(run),
        "corrections": corrections.of_run(run) if figures else [],
        "has_rate": ProductionSettings.current().labour_cents_per_hour > 0,
        "jar_page_url": jar_pages.address_for_run(run, request),
        "statement": labels.net_weight(run.size.declared_grams, House.current().market),
    }
    return render(request, "inventory/bottling/run_detail.html", context)


def _underfill(figures: RunFigures | None) -> str:
    if figures is None or not figures.is_underfilled:
        return ""
    return filling.underfill_sentence(figures.size, -figures.overfill_grams_each)


def _beyond_brim(run: BottlingRun, figures: RunFigures | None) -> str:
    """Question the overfill of a run that was recorded before this was asked about."""
    if figures is None:
        return ""
    excess = filling.beyond_brim(
        figures.size,
        figures.shares,
        figures.pieces_filled,
        moisture_percent=figures.lot.moisture_percent,
        celsius=run.celsius,
    )
    if not excess:
        return ""
    return filling.overfill_beyond_brim_sentence(
        figures.size, figures.shares, figures.pieces_filled, excess
    )


class RunRecordView(RunView):
    form_class = RunRecordForm
    template_name = "inventory/bottling/run_record.html"

    def get_initial(self) -> dict[str, Any]:
        try:
            return {"bottled_on": date.fromisoformat(self.request.GET.get("day", ""))}
        except ValueError:
            return {}

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"run": self.run}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "preview" in request.POST:
            return self.render_to_response(self.get_context_data(form=self.get_form()))
        return super().post(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        form = context["form"]
        return context | {"preview": _preview_of_record(form) if form.is_bound else None}

    def act(self, data: dict[str, Any]) -> BottlingRun:
        data.pop("drawn_uncertainty", None)
        data.pop("comb_grams"), data.pop("comb_pieces")
        return runs.record(
            run=self.run,
            drawn_grams=data.pop("drawn"),
            drawn_by=data.pop("drawn_by", BottlingRun.DrawnBy.SCALE),
            loss_grams=data.pop("loss"),
            before_mm=data.pop("depth_before"),
            after_mm=data.pop("depth_after"),
            recorded_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: BottlingRun) -> str:
        filled = _("Filled %(pieces)s of %(product)s: lot %(lot)s, on %(place)s.") % {
            "pieces": words.pieces(made.pieces_filled or 0),
            "product": made.product.name,
            "lot": made.packed_lot,
            "place": made.target.name,
        }
        if self._lacking(made):
            filled += " " + _("The books had too little for it: see what is to be settled.")
        return filled

    def done_level(self, made: BottlingRun) -> int:
        return messages.WARNING if self._lacking(made) else messages.SUCCESS

    def _lacking(self, made: BottlingRun) -> list[ShortageRow]:
        return shortages.of_posting(made.posting_id) if made.posting_id else []

    def posting_to_undo(self, made: BottlingRun):
        return made.posting


@permission_required(RUN_BOTTLING, raise_exception=True)
def run_record_preview(request: HttpRequest, number: str) -> HttpResponse:
    """Answer, while the figures are typed, what recording them would do; nothing is saved."""
    preview = _preview_of_record(RunRecordForm(request.GET, run=run_of(number)))
    return render(request, "inventory/bottling/_record_preview.html", {"preview": preview})


def _preview_of_record(form: RunRecordForm) -> run_queries.RecordPreview | None:
    form.is_valid()
    data = form.cleaned_data
    # A figure that can't be is told when the form is sent; the rest would be worked out without it.
    if {"pieces_broken", "loss", "labour_minutes"} & form.errors.keys():
        return None
    if not data.get("pieces_filled") or not data.get("bottled_on"):
        return None
    if {"drawn", "depth_before", "depth_after", "celsius"} & form.errors.keys():
        return None
    drawn_grams = data.get("drawn")
    if drawn_grams is None:
        drawn_grams = day_queries.estimate_of(
            form.run,
            pieces_filled=data["pieces_filled"],
            pieces_broken=data.get("pieces_broken") or 0,
            loss_grams=data.get("loss") or 0,
            seed_grams=data.get("seed_grams"),
        )
    return run_queries.preview_record(
        form.run,
        pieces_filled=data["pieces_filled"],
        pieces_broken=data.get("pieces_broken") or 0,
        drawn_grams=drawn_grams,
        is_estimated=data.get("drawn") is None,
        drawn_uncertainty_grams=data.get("drawn_uncertainty"),
        loss_grams=data.get("loss") or 0,
        seed_grams=data.get("seed_grams"),
        comb_quantity=data.get("comb_quantity"),
        labour_minutes=data.get("labour_minutes"),
        bottled_on=data["bottled_on"],
        celsius=data.get("celsius"),
        without_labels=data.get("without_labels", False),
    )


class RunCancelView(RunView):
    form_class = RunCancelForm
    template_name = "inventory/bottling/run_cancel.html"

    def act(self, data: dict[str, Any]) -> BottlingRun:
        return runs.cancel(
            run=self.run, cancelled_by=person_of(self.request), reason=data["reason"]
        )

    def done_message(self, made: BottlingRun) -> str:
        return _("Run %(number)s is cancelled. The stock has not changed.") % {
            "number": made.number
        }


class FillCheckView(RunView):
    """Weigh pieces of a run: before it to set the nozzle, after it for a verdict on the lot."""

    form_class = FillCheckForm
    template_name = "inventory/bottling/fill_check.html"

    @cached_property
    def open_sample(self) -> FillCheck | None:
        if self.run.status != BottlingRun.Status.RECORDED:
            return None
        return check_queries.open_sample(self.run)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"run": self.run, "open_sample": self.open_sample}

    def get_initial(self) -> dict[str, Any]:
        size = self.run.size
        return {
            "scheme": check_queries.usual_scheme(size),
            "unit": "g",
            "tare": [size.tare_grams or None, "g"],
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            checks=check_queries.checks_of(self.run),
            samples=check_queries.samples_wanted(self.run),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> FillCheck:
        return fill_checks.record(
            run=self.run,
            scheme=data.get("scheme") or check_queries.usual_scheme(self.run.size),
            weights_milligrams=data["weights_milligrams"],
            tare_milligrams=data["tare_milligrams"],
            weights_are_right=data["weights_are_right"],
            checked_on=data["checked_on"],
            continues=self.open_sample if data.get("continues") else None,
            checked_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: FillCheck) -> str:
        if made.has_passed is None:
            return _("The weights are kept with the run.")
        if made.has_passed:
            return _("The fill check passed and is kept with the run.")
        return _("The fill check failed: lot %(lot)s is on hold and can't be sold.") % {
            "lot": made.run.packed_lot
        }

    def done_level(self, made: FillCheck) -> int:
        return messages.WARNING if made.has_passed is False else messages.SUCCESS

    def next_url(self, made: Any) -> str:
        return reverse("inventory:fill_check", args=[self.run.number])


class LotReleaseView(ActView):
    permission_required = "inventory.release_hold"
    form_class = LotReleaseForm
    template_name = "inventory/bottling/lot_release.html"

    @cached_property
    def lot(self) -> Lot:
        lots = Lot.objects.select_related("product__item", "run")
        return get_object_or_404(lots.bearing(self.kwargs["code"], self.kwargs["product"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, holds=self.open_holds, **kwargs)

    @cached_property
    def open_holds(self) -> list[LotHold]:
        return hold_queries.open_of(self.lot)

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "holds": self.open_holds}

    def act(self, data: dict[str, Any]) -> Lot:
        return holds.release_lot(
            lot=self.lot,
            reason=data["reason"],
            released_by=person_of(self.request),
            of_holds=data.get("of_holds"),
        )

    def done_message(self, made: Lot) -> str:
        if made.is_on_hold:
            return _("Lot %(code)s stays on hold: %(reason)s") % {
                "code": made.code,
                "reason": made.hold_reason,
            }
        return _("Lot %(code)s may be sold again.") % {"code": made.code}

    def next_url(self, made: Lot) -> str:
        if run := BottlingRun.objects.filter(packed_lot=made).first():
            return reverse("inventory:run_detail", args=[run.number])
        return reverse("inventory:lot_detail", args=[made.code, made.what])

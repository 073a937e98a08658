"""Pages of labels: what the labels of a run say, printing them, and the layouts of sheets."""

from decimal import Decimal
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.bottling import papers
from inventory.bottling.forms_labels import LabelPrintForm, LabelSheetForm, initial_of_sheet
from inventory.bottling.models import BottlingRun, LabelSheet
from inventory.bottling.papers import LabelPrint
from inventory.bottling.queries import jar_pages
from inventory.bottling.queries import labels as queries
from inventory.bottling.rules import labels
from inventory.bottling.rules.labels import LabelFacts
from inventory.bottling.services import label_sheets
from inventory.bottling.views.runs import RUN_BOTTLING, run_of
from inventory.bottling.views.sizes import MANAGE_PARTS
from inventory.shared import documents, printed_codes
from inventory.shared.errors import HouseError
from inventory.shared.views import ActView


def run_labels(request: HttpRequest, number: str) -> HttpResponse:
    """Show what the labels of a run say, and how they would be printed; nothing is saved."""
    run = run_of(number)
    page_url = jar_pages.address_for_run(run, request)
    facts = queries.facts_of(run)
    form = LabelPrintForm(request.GET or None, initial=first_choice(run, facts), page_url=page_url)
    printed = prepared(facts, form) if form.is_bound else None
    return _labels_page(request, run, form, facts, printed)


@permission_required(RUN_BOTTLING, raise_exception=True)
def run_labels_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """Answer with the labels as PDF, or with the page that says what does not fit."""
    run = run_of(number)
    page_url = jar_pages.address_for_run(run, request)
    facts = queries.facts_of(run)
    form = LabelPrintForm(request.GET or first_choice(run, facts), page_url=page_url)
    printed = prepared(facts, form)
    if printed is None:
        return _labels_page(request, run, form, facts, None)
    try:
        content = papers.label_pages(printed)
    except documents.PdfUnavailable as error:
        return render(request, "documents/unavailable.html", {"error": error}, status=503)
    return documents.pdf_response(f"labels-{run.number}.pdf", content)


def first_choice(run: BottlingRun, facts: LabelFacts) -> dict[str, Any]:
    """Return what the form shows first: a label for each piece, with a bar code if it has one."""
    sheet = queries.default_sheet()
    has_bar_code = len(facts.gtin) in printed_codes.RETAIL_KINDS
    return {
        "sheet": sheet.code if sheet else "",
        "pieces": run.pieces_filled or run.pieces_planned,
        "spare": 0,
        "first": 1,
        "code": papers.BARCODE if has_bar_code else papers.NO_CODE,
        "panel": LabelPrintForm.Panel.LABEL,
    }


def prepared(facts: LabelFacts, form: LabelPrintForm) -> LabelPrint | None:
    """Lay the labels out; what does not fit is told at its field of the form."""
    if not form.is_valid() or not facts.lot_code:
        return None
    data = form.cleaned_data
    try:
        return papers.prepare(
            facts,
            sheet=data["sheet"],
            count=data["pieces"] + (data["spare"] or 0),
            first=1 if data["first"] is None else data["first"],
            **form.qr_code(),
            panel_in2=form.panel_in2(),
        )
    except HouseError as error:
        form.refuse(error)
        return None


def _labels_page(
    request: HttpRequest,
    run: BottlingRun,
    form: LabelPrintForm,
    facts: LabelFacts,
    printed: LabelPrint | None,
) -> HttpResponse:
    context = {
        "run": run,
        "facts": facts,
        "texts": labels.texts(facts),
        "form": form,
        "printed": printed,
        "lots_without_country": queries.lots_without_country(run),
        "query": request.GET.urlencode(),
        "copies": range(12),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "inventory/bottling/run_labels.html", context, status=status)


@permission_required(RUN_BOTTLING, raise_exception=True)
def label_sheet_list(request: HttpRequest) -> HttpResponse:
    """Every layout of sheets and rolls, those in use first."""
    context = {"sheets": LabelSheet.objects.all()}
    return render(request, "inventory/bottling/label_sheet_list.html", context)


class LabelSheetCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = LabelSheetForm
    template_name = "inventory/bottling/label_sheet_form.html"
    sheet: LabelSheet | None = None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(sheet=self.sheet, **kwargs)

    def act(self, data: dict[str, Any]) -> LabelSheet:
        del data["key"]
        names = LabelSheetForm.fields_of_parameters
        measures = {given: data.pop(name) or Decimal(0) for given, name in names.items()}
        return label_sheets.save(sheet=self.sheet, **(data | measures))

    def done_message(self, made: LabelSheet) -> str:
        return _("Added the layout %(sheet)s. Print its test page first.") % {"sheet": made.name}

    def next_url(self, made: LabelSheet) -> str:
        return reverse("inventory:label_sheet_edit", args=[made.code])


class LabelSheetEditView(LabelSheetCreateView):
    def prepare(self) -> None:
        self.sheet = get_object_or_404(LabelSheet, code=self.kwargs["code"])

    def edited(self) -> Model | None:
        return self.sheet

    def get_initial(self) -> dict[str, Any]:
        assert self.sheet is not None
        return initial_of_sheet(self.sheet)

    def done_message(self, made: LabelSheet) -> str:
        return _("Saved %(sheet)s.") % {"sheet": made.name}


@permission_required(RUN_BOTTLING, raise_exception=True)
def label_sheet_test(request: HttpRequest, code: str) -> HttpResponse:
    """Answer with the page by which a printer is aligned to this layout."""
    sheet = get_object_or_404(LabelSheet, code=code)
    try:
        content = papers.test_page(sheet)
    except documents.PdfUnavailable as error:
        return render(request, "documents/unavailable.html", {"error": error}, status=503)
    return documents.pdf_response(f"test-page-{sheet.code}.pdf", content)

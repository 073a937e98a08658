"""Choose what, upload, match columns, look, bring in, and undo."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.imports.forms.imports import (
    BringInForm,
    MatchColumnsForm,
    UndoImportForm,
    UploadListForm,
)
from apiary_sales.imports.models import Import, ImportKind
from apiary_sales.imports.queries import imports as queries
from apiary_sales.imports.rules.cells import Writing, as_understood
from apiary_sales.imports.rules.kinds import BRING_IN, BY_KIND
from apiary_sales.imports.services import long_lists, undoing, uploads
from apiary_sales.imports.views import access
from inventory.shared import words
from inventory.shared.csv_files import csv_response
from inventory.shared.errors import HouseError
from inventory.shared.forms.fields import decimal_sign
from inventory.shared.models import LongWork
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.shared.workbooks import xlsx_response

ROWS_A_PAGE = 50
ROWS_SHOWN_FIRST = 5


@require_GET
@permission_required(BRING_IN, raise_exception=True)
def home(request: HttpRequest) -> HttpResponse:
    """Choose what to bring in, or open a list that was uploaded."""
    kinds = access.open_to(request.user)
    found = queries.kept().filter(kind__in=[what.kind for what in kinds])
    page = Paginator(found, ROWS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "imports/home.html", {"kinds": kinds, "page_obj": page, "page": page})


@require_GET
@permission_required(BRING_IN, raise_exception=True)
def template_csv(request: HttpRequest, kind: str) -> HttpResponse:
    """Download an empty list of a kind, with an example row."""
    what = access.kind_for(request.user, kind)
    sign = decimal_sign()
    rows = [
        [str(column.label) for column in what.columns],
        [column.example_text(sign) for column in what.columns],
    ]
    return csv_response(f"{kind}.csv", rows)


@require_GET
@permission_required(BRING_IN, raise_exception=True)
def template_xlsx(request: HttpRequest, kind: str) -> HttpResponse:
    """Download an empty list of a kind as a workbook; its second sheet says what each column is."""
    what = access.kind_for(request.user, kind)
    explained = [
        [_("Column"), _("Needed"), _("How it is written"), _("About it")],
        *(
            [
                str(column.label),
                _("yes") if column.is_required else "",
                column.how,
                str(column.hint),
            ]
            for column in what.columns
        ),
    ]
    sheets = [
        (
            what.label,
            [
                [str(column.label) for column in what.columns],
                [column.example_value() for column in what.columns],
            ],
        ),
        (_("What each column is"), explained),
    ]
    return xlsx_response(f"{kind}.xlsx", sheets)


class UploadView(ActView):
    """Upload a list of one kind."""

    permission_required = BRING_IN
    form_class = UploadListForm
    template_name = "imports/upload.html"

    def prepare(self) -> None:
        self.what = access.kind_for(self.request.user, self.kwargs["kind"])

    def act(self, data: dict[str, Any]) -> Import:
        return uploads.upload(kind=self.what.kind, uploaded_by=person_of(self.request), **data)

    def done_message(self, made: Import) -> str:
        return ngettext(
            "%(count)s row was read. Now match the columns.",
            "%(count)s rows were read. Now match the columns.",
            made.rows_read,
        ) % {"count": words.number(made.rows_read)}

    def next_url(self, made: Import) -> str:
        return reverse("imports:columns", args=[made.pk])

    def repeat_url(self, made: Any) -> str:
        return reverse("imports:detail", args=[made.pk])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "what": self.what}


class ColumnsView(ActView):
    """Say which column of the file is which of ours, and check all rows."""

    permission_required = BRING_IN
    form_class = MatchColumnsForm
    template_name = "imports/columns.html"

    def prepare(self) -> None:
        self.begun = access.import_for(self.request.user, self.kwargs["pk"])

    def edited(self) -> Model:
        return self.begun

    def get_form_kwargs(self) -> dict[str, Any]:
        first = self.begun.rows.first()
        return {
            **super().get_form_kwargs(),
            "what": BY_KIND[self.begun.kind],
            "headings": self.begun.headings,
            "sample": first.cells if first else [],
        }

    def get_initial(self) -> dict[str, Any]:
        return {name: str(position) for name, position in self.begun.columns.items()}

    def act(self, data: dict[str, Any]) -> LongWork | None:
        uploads.match(begun=self.begun, columns=self.form.chosen())
        return long_lists.check(begun=self.begun, checked_by=person_of(self.request))

    def done_message(self, made: LongWork | None) -> str:
        return _("The columns are matched.")

    def next_url(self, made: LongWork | None) -> str:
        return _page_of(self.begun, made)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "begun": self.begun}


def _page_of(begun: Import, work: LongWork | None) -> str:
    if work is not None:
        return reverse("inventory:long_work", args=[work.pk])
    return reverse("imports:detail", args=[begun.pk])


@require_GET
@permission_required(BRING_IN, raise_exception=True)
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how far an import is: what is wrong with its rows, or what it made."""
    begun = access.import_for(request.user, pk)
    return render(request, "imports/detail.html", _shown(request, begun, BringInForm()))


def _shown(request: HttpRequest, begun: Import, form: Any) -> dict[str, Any]:
    what = BY_KIND[begun.kind]
    context: dict[str, Any] = {"begun": begun, "what": what, "form": form, "state": _tag(begun)}
    number = request.GET.get("page")
    if begun.state == Import.State.CHECKED:
        page = Paginator(begun.rows.exclude(problems=[]), ROWS_A_PAGE).get_page(number)
        context["wrong"] = queries.told(page, what)
        context["first_rows"] = begun.rows.filter(problems=[])[:ROWS_SHOWN_FIRST]
        context["page"] = page
        shown = [column for column in what.columns if column.name in begun.columns]
        context["shown_columns"] = [(column.label, begun.columns[column.name]) for column in shown]
        writing = Writing(decimal_sign=begun.decimal_sign, day_order=begun.day_order)
        context["first_cells"] = [
            (
                row.number,
                [
                    (
                        column.label,
                        as_understood(
                            column, _cell(row.cells, begun.columns[column.name]), writing
                        ),
                    )
                    for column in shown
                ],
            )
            for row in context["first_rows"]
        ]
    elif begun.state in (Import.State.COMPLETE, Import.State.UNDONE):
        if begun.kind == ImportKind.PAST_SALES:
            context["years"] = queries.past_sales(begun)
        else:
            page = Paginator(begun.rows.all(), ROWS_A_PAGE).get_page(number)
            context["made"] = queries.made(page)
            context["page"] = page
    return context


def _cell(cells: list[str], place: int) -> str:
    return cells[place] if place < len(cells) else ""


def _tag(begun: Import) -> dict[str, str]:
    kinds: dict[str, str] = {Import.State.COMPLETE: "good", Import.State.UNDONE: ""}
    return {"text": begun.get_state_display(), "kind": kinds.get(begun.state, "info")}


class BringInView(ActView):
    """Bring a checked list in."""

    permission_required = BRING_IN
    form_class = BringInForm
    template_name = "imports/detail.html"

    def prepare(self) -> None:
        self.begun = access.import_for(self.request.user, self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> LongWork | None:
        return long_lists.bring_in(
            begun=self.begun,
            brought_in_by=person_of(self.request),
            without_bad_rows=data["without_bad_rows"],
        )

    def done_message(self, made: LongWork | None) -> str:
        if made is not None:
            return _("The list is being brought in. Nothing of it counts until it is complete.")
        return _("The list is brought in.")

    def next_url(self, made: LongWork | None) -> str:
        return _page_of(self.begun, made)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        # What was tried may have changed its state.
        self.begun.refresh_from_db()
        return {**context, **_shown(self.request, self.begun, context["form"])}


@require_POST
@permission_required(BRING_IN, raise_exception=True)
def drop(request: HttpRequest, pk: int) -> HttpResponse:
    """Drop a list that was not brought in."""
    begun = access.import_for(request.user, pk)
    try:
        uploads.drop(begun=begun)
    except HouseError as error:
        messages.error(request, error.message)
        return redirect("imports:detail", pk=pk)
    messages.success(request, _("The list was dropped. Nothing of it was kept."))
    return redirect("imports:home")


class UndoImportView(ActView):
    """Undo a whole import."""

    permission_required = BRING_IN
    form_class = UndoImportForm
    template_name = "imports/undo.html"

    def prepare(self) -> None:
        self.begun = access.import_for(self.request.user, self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> Import:
        return undoing.undo(brought_in=self.begun, undone_by=person_of(self.request), **data)

    def done_message(self, made: Import) -> str:
        return _("Everything that this list made is undone.")

    def next_url(self, made: Import) -> str:
        return reverse("imports:detail", args=[made.pk])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "begun": self.begun}


@require_GET
@permission_required(BRING_IN, raise_exception=True)
def bad_rows(request: HttpRequest, pk: int) -> HttpResponse:
    """Download the rows with something wrong, with the reasons, to be mended and uploaded."""
    begun = access.import_for(request.user, pk)
    what = BY_KIND[begun.kind]
    width = len(begun.headings)
    rows = (
        [*(_cell(row.cells, place) for place in range(width)), _reasons(row.told(), what)]
        for row in begun.rows.exclude(problems=[])
    )
    return csv_response(
        f"{begun.kind}-{begun.pk}.csv", [[*begun.headings, _("What is wrong")], *rows]
    )


def _reasons(problems: list[tuple[str, str]], what: Any) -> str:
    labels = {column.name: str(column.label) for column in what.columns}
    return " ".join(
        f"{labels[column]}: {sentence}" if column in labels else sentence
        for column, sentence in problems
    )

"""Pages and files of the reports."""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Page
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from apiary_sales.reports import catalogue, exports, long_files
from apiary_sales.reports.forms import FilterForm
from apiary_sales.reports.report import FilteredReport, Report
from inventory.shared.paging import page_of
from inventory.shared.people import person_of

# So many rows can be shown at once, to be printed; longer tables are for the files.
ROWS_AT_ONCE_MAX = 3000
# What the words of a sheet of paper leave for pictures and rows, in the pixels of a page.
PAPER_HEIGHT, PAPER_ROW_HEIGHT, PAPER_WIDE_ROW_HEIGHT, PAPER_SENTENCE_HEIGHT = 740, 16, 30, 19
# What is counted stands in two columns of so many letters.
PAPER_LETTERS, PAPER_LINE_HEIGHT = 132, 13
ROWS_ON_PAPER_MIN = 6
COLUMNS_OF_NARROW_MAX = 9
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

sees_money = permission_required("billing.view_money", raise_exception=True)


@sees_money
def index(request: HttpRequest) -> HttpResponse:
    return render(request, "reports/index.html", {"subjects": catalogue.by_subject()})


@sees_money
def report(request: HttpRequest, slug: str) -> HttpResponse:
    asked = _report(slug)
    form = asked.form(request.GET)
    made = FilteredReport(asked, form, request.GET.get("sort", "")) if form.is_valid() else None
    page = made and _page(request, made)
    return render(
        request,
        "reports/report.html",
        {
            "report": asked,
            "form": form,
            "made": made,
            "page": page,
            "shown": made and page and made.page(list(page.object_list)),
            "rows_at_once_max": ROWS_AT_ONCE_MAX,
            **(_on_paper(request, made, page) if made and page else {}),
            "spans": _spans() if "since" in form.fields else [],
            "files_take_long": long_files.is_long(),
        },
        status=200 if made else 422,
    )


@sees_money
def csv_file(request: HttpRequest, slug: str) -> HttpResponseBase:
    return _file(request, slug, "csv", "text/csv; charset=utf-8", exports.csv_chunks)


@sees_money
def xlsx_file(request: HttpRequest, slug: str) -> HttpResponseBase:
    from apiary_sales.reports import workbook

    return _file(request, slug, "xlsx", XLSX, workbook.xlsx_file)


@require_POST
@sees_money
def long_file(request: HttpRequest, slug: str, ending: str) -> HttpResponse:
    """Begin to write a file that takes long."""
    asked = _report(slug)
    if not asked.form(request.GET).is_valid():
        return report(request, slug)
    work = long_files.begin(
        slug=slug, ending=ending, query=request.GET.dict(), started_by=person_of(request)
    )
    return redirect("inventory:long_work", work.pk)


def _page(request: HttpRequest, made: FilteredReport) -> Page[int]:
    """Return the rows of the page that is asked for, or all of them where that is asked."""
    is_all = request.GET.get("rows") == "all" and len(made.order) <= ROWS_AT_ONCE_MAX
    rows = max(len(made.order), 1) if is_all else made.report.rows_a_page
    return page_of(request, made.order, rows)


def _on_paper(request: HttpRequest, made: FilteredReport, page: Page[int]) -> dict[str, Any]:
    """Return which rows fit below the pictures on one sheet, and whether others are left out.

    Of months the newest ones are printed, of all else the first.
    """
    used = sum(drawing.height_on_paper for drawing in made.pictures)
    used += PAPER_SENTENCE_HEIGHT * (len(made.answers) + 2 * len(made.warnings))
    letters = sum(len(str(sentence)) + PAPER_LETTERS // 2 for sentence in made.report.definition)
    used += PAPER_LINE_HEIGHT * letters / PAPER_LETTERS
    is_wide = len(made.columns_shown) > COLUMNS_OF_NARROW_MAX
    height = PAPER_WIDE_ROW_HEIGHT if is_wide else PAPER_ROW_HEIGHT
    count = max(ROWS_ON_PAPER_MIN, int((PAPER_HEIGHT - used) / height))
    there = len(page.object_list)
    is_cut = bool(made.pictures) and request.GET.get("rows") != "all" and there > count
    is_last = made.month_column and made.sorted_by is None and not made.is_newest_first
    first = there - count if is_last else 0
    return {
        "is_cut_on_paper": is_cut,
        "rows_on_paper": count,
        "first_on_paper": first + 1,
        "last_on_paper": first + count,
    }


def _report(slug: str) -> Report:
    try:
        return catalogue.REPORTS[slug]
    except KeyError:
        raise Http404(_("That report was not found.")) from None


def _file(
    request: HttpRequest,
    slug: str,
    ending: str,
    content_type: str,
    write: Callable[[FilteredReport], bytes | Iterator[bytes]],
) -> HttpResponseBase:
    asked = _report(slug)
    form = asked.form(request.GET)
    if not form.is_valid():
        # The page says in words what is wrong with the address.
        return report(request, slug)
    name = "-".join([slug, *_days_in_name(form)])
    content = write(FilteredReport(asked, form, request.GET.get("sort", "")))
    answer = HttpResponse if isinstance(content, bytes) else StreamingHttpResponse
    return answer(
        content,
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{name}.{ending}"'},
    )


def _days_in_name(form: FilterForm) -> list[str]:
    days = (form.cleaned_data.get(name) for name in ("since", "until", "on"))
    return [day.isoformat() for day in days if day]


def _spans() -> list[tuple[str, str, str]]:
    """Return the spans of days that are asked for most, with their first and last day."""
    today = timezone.localdate()
    month = today.replace(day=1)
    last_month = (month - timedelta(days=1)).replace(day=1)
    year = date(today.year, 1, 1)
    spans = [
        (_("This month"), month, today),
        (_("Last month"), last_month, month - timedelta(days=1)),
        (_("This year"), year, today),
        (_("Last year"), date(today.year - 1, 1, 1), year - timedelta(days=1)),
    ]
    return [
        *((name, since.isoformat(), until.isoformat()) for name, since, until in spans),
        (_("All days"), "", ""),
    ]

"""Files of reports that take long to write: made as long work where the books are large."""

from collections.abc import Mapping
from datetime import date
from functools import lru_cache

from django.db import transaction
from django.db.models import Max
from django.http import QueryDict
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import EntryLine
from apiary_sales.reports import catalogue, exports
from apiary_sales.reports.report import FilteredReport
from inventory.shared import conventions, work_files
from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from inventory.stock.models import PostingLine

# From so many lines in the books on, a file may take more than the few seconds a page waits.
LINES_AT_ONCE = 300_000
# Reading, putting in rows, writing.
STEPS = 3


def is_long() -> bool:
    """Tell whether the books are so large that a file of a report is long work."""
    return _lines_on(timezone.localdate()) > LINES_AT_ONCE


@lru_cache(maxsize=1)
def _lines_on(day: date) -> int:
    """Return about how many lines the books have, asked once a day.

    Lines are never removed, so that the highest number says how many there are without a count.
    """
    books = (PostingLine, EntryLine)
    return sum(model.objects.aggregate(pk=Max("pk"))["pk"] or 0 for model in books)


def begin(*, slug: str, ending: str, query: Mapping[str, str], started_by: User) -> LongWork:
    """Begin to write a report as "csv" or "xlsx" for the filters of an address."""
    report = catalogue.REPORTS[slug]
    with transaction.atomic():
        work = long_work.begin(
            kind="report", title=str(report.title), total=STEPS, started_by=started_by
        )
        write_report.enqueue(work.pk, slug, ending, dict(query), translation.get_language())
    return work


@task()
def write_report(
    work_id: int, slug: str, ending: str, query: dict[str, str], language: str
) -> None:
    """Write a report to a file."""
    from apiary_sales.reports import workbook

    report = catalogue.REPORTS[slug]
    write = {"csv": exports.csv_file, "xlsx": workbook.xlsx_file}[ending]
    conventions.read_again()
    with translation.override(language), long_work.progress(work_id) as work:
        work.check_stop()
        typed = QueryDict(mutable=True)
        typed.update(query)
        form = report.form(typed)
        form.is_valid()
        work.advance(0, total=STEPS, message=_("Reading the books"))
        made = FilteredReport(report, form, query.get("sort", ""))
        work.advance(1, total=STEPS, message=_("Putting it in rows"))
        made.order  # noqa: B018
        work.advance(2, total=STEPS, message=_("Writing the file"))
        work.result_url = work_files.keep(work.work, f"report.{ending}", write(made))
        work.message = ""

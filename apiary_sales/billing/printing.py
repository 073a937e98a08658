"""Many papers as one PDF: long work with its progress, one paper a step."""

from collections.abc import Callable, Sequence
from datetime import date
from io import BytesIO

from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.accounts.models import User
from apiary_sales.billing import papers
from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from inventory.shared import conventions, work_files
from inventory.shared.models import LongWork
from inventory.shared.services import long_work

# A PDF of more takes more memory than a small machine has to spare.
PAPERS_MAX = 500


def begin_invoices(*, pks: Sequence[int], started_by: User) -> LongWork:
    """Begin to print these invoices, in this order, as one PDF."""
    with transaction.atomic():
        title = _("Invoices of %(day)s") % {"day": _today()}
        work = long_work.begin(kind="invoices", title=title, total=len(pks), started_by=started_by)
        print_invoices.enqueue(work.pk, list(pks), translation.get_language())
    return work


def begin_statements(*, pks: Sequence[int], since: date, until: date, started_by: User) -> LongWork:
    """Begin to print a statement for each of these customers as one PDF."""
    with transaction.atomic():
        title = _("Statements of %(day)s") % {"day": _today()}
        work = long_work.begin(
            kind="statements", title=title, total=len(pks), started_by=started_by
        )
        print_statements.enqueue(
            work.pk, list(pks), since.isoformat(), until.isoformat(), translation.get_language()
        )
    return work


@task()
def print_invoices(work_id: int, pks: list[int], language: str) -> None:
    """Print invoices as one PDF; one that was removed since is left out."""
    with translation.override(language):
        _print(work_id, [_invoice_writer(pk) for pk in pks])


@task()
def print_statements(work_id: int, pks: list[int], since: str, until: str, language: str) -> None:
    """Print a statement for each customer as one PDF."""
    days = (date.fromisoformat(since), date.fromisoformat(until))
    with translation.override(language):
        _print(work_id, [_statement_writer(pk, *days) for pk in pks])


def _invoice_writer(pk: int) -> Callable[[], bytes]:
    return lambda: papers.invoice(Invoice.objects.get(pk=pk))


def _statement_writer(pk: int, since: date, until: date) -> Callable[[], bytes]:
    return lambda: papers.statement(Customer.objects.get(pk=pk), since, until)


def _print(work_id: int, writers: Sequence[Callable[[], bytes]]) -> None:
    from pypdf import PdfReader, PdfWriter

    conventions.read_again()
    with long_work.progress(work_id) as work:
        work.check_stop()
        whole = PdfWriter()
        for done, write in enumerate(writers, start=1):
            whole.append(PdfReader(BytesIO(write())))
            work.advance(done, total=len(writers))
        # The same letters are in each of them once.
        whole.compress_identical_objects()
        made = BytesIO()
        whole.write(made)
        work.result_url = work_files.keep(work.work, "papers.pdf", made.getvalue())


def _today() -> str:
    return date_format(timezone.localdate())

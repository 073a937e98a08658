"""Check a list and bring it in: a short one at once, a long one as long work beside the server."""

from auditlog.context import set_actor
from django.db import transaction
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.accounts.models import User
from apiary_sales.imports.models import Import
from apiary_sales.imports.services import bringing_in, checking
from apiary_sales.imports.services.claims import Report
from inventory.shared.models import LongWork
from inventory.shared.people import Person
from inventory.shared.services import long_work
from inventory.shared.services.long_work import Progress

# A page waits for no more rows than these.
ROWS_AT_ONCE = 100
CHECK, BRING_IN = "import-check", "import"


def check(*, begun: Import, checked_by: Person) -> LongWork | None:
    """Check a list, or let it be checked; return the long work, None where it is done already.

    Raises as `checking.check`.
    """
    if begun.rows_read <= ROWS_AT_ONCE:
        checking.check(begun=begun, checked_by=checked_by)
        return None
    title = _("Check %(file)s") % {"file": begun.file_name}
    with transaction.atomic():
        work = _begun(begun, CHECK, title, checked_by)
        check_list.enqueue(begun.pk, checked_by.pk, translation.get_language(), work.pk)
    return work


def bring_in(
    *, begun: Import, brought_in_by: Person, without_bad_rows: bool = False
) -> LongWork | None:
    """Bring a checked list in, or let it be; return the long work, None where it is done already.

    Raises as `bringing_in.bring_in`.
    """
    bringing_in.refuse(begun, without_bad_rows=without_bad_rows)
    if begun.rows_read <= ROWS_AT_ONCE:
        bringing_in.bring_in(
            begun=begun, brought_in_by=brought_in_by, without_bad_rows=without_bad_rows
        )
        return None
    title = _("Bring in %(file)s") % {"file": begun.file_name}
    with transaction.atomic():
        work = _begun(begun, BRING_IN, title, brought_in_by)
        bring_in_list.enqueue(
            begun.pk, brought_in_by.pk, translation.get_language(), work.pk, without_bad_rows
        )
    return work


def _begun(begun: Import, kind: str, title: str, by: Person) -> LongWork:
    work = long_work.begin(kind=kind, title=title, total=begun.rows_read, started_by=by)
    Import.objects.filter(pk=begun.pk).update(work=work)
    return work


@task()
def check_list(pk: int, person_pk: int, language: str, work_pk: int) -> None:
    """Check a list and say how far it is; one that is checked already is checked again."""
    begun, by = Import.objects.get(pk=pk), User.objects.get(pk=person_pk)
    with translation.override(language), long_work.progress(work_pk) as work:
        _prepare(work, begun)
        checked = checking.check(begun=begun, checked_by=by, report=_reporting(work))
        work.message = _("%(good)s rows are right, %(bad)s are not.") % {
            "good": checked.rows_good,
            "bad": checked.rows_bad,
        }


@task()
def bring_in_list(
    pk: int, person_pk: int, language: str, work_pk: int, without_bad_rows: bool
) -> None:
    """Bring a list in and say how far it is; one that is in already is refused."""
    begun, by = Import.objects.get(pk=pk), User.objects.get(pk=person_pk)
    with (
        translation.override(language),
        set_actor(by),
        long_work.progress(work_pk) as work,
    ):
        _prepare(work, begun)
        made = bringing_in.bring_in(
            begun=begun,
            brought_in_by=by,
            without_bad_rows=without_bad_rows,
            report=_reporting(work),
        )
        work.message = _("%(count)s rows were brought in.") % {"count": made.rows_made}


def _prepare(work: Progress, begun: Import) -> None:
    work.result_url = reverse("imports:detail", args=[begun.pk])
    work.check_stop()


def _reporting(work: Progress) -> Report:
    return lambda done, total: work.advance(done, total=total)

"""A backup that somebody asks for on the page, as long work."""

from pathlib import Path

from django.conf import settings
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.services import backups
from inventory.shared.errors import NotAllowedNow
from inventory.shared.models import LongWork
from inventory.shared.people import Person
from inventory.shared.services import long_work

KIND = "backup"
STEPS = 4


@transaction.atomic
def ask_for(*, started_by: Person) -> LongWork:
    """Queue a backup with its rehearsal, and return the work to watch.

    Where one is under way already, that is returned.
    """
    under_way = LongWork.objects.filter(kind=KIND).exclude(state__in=LongWork.ENDED)
    if known := under_way.filter(started_by=started_by).first():
        return known
    work = long_work.begin(kind=KIND, title=_("Back up"), total=STEPS, started_by=started_by)
    back_up.enqueue(work.pk)
    return work


@task()
def back_up(work_id: int) -> None:
    """Make a backup and rehearse its restore, telling how far it is."""
    with long_work.progress(work_id) as work:
        work.check_stop()
        work.result_url = reverse("keeping:backups")
        steps = iter(range(STEPS))

        def tell(step: str) -> None:
            work.advance(next(steps), total=STEPS, message=step)

        try:
            made = backups.make(passphrase=settings.BACKUP_PASSPHRASE, tell=tell)
        except OSError as error:
            raise NotAllowedNow(
                _("The file could not be written: %(reason)s") % {"reason": error}
            ) from error
        tell(_("A restore is rehearsed."))
        _rehearse(made)
        work.message = _("Backed up to %(file)s. A restore was rehearsed.") % {
            "file": Path(made.file).name
        }
        if made.message:
            work.message += f" {made.message}"


def _rehearse(made: Backup) -> None:
    backups.rehearse(backup=made, passphrase=settings.BACKUP_PASSPHRASE)
    if not made.rehearsal_ok:
        raise NotAllowedNow(
            _("The backup was made, but the rehearsal of a restore failed: %(reason)s")
            % {"reason": made.message}
        )

"""Begin long work, tell how far it is, and stop it.

An act that takes long calls `begin` and enqueues its task in one transaction. The task does its
work within `progress`, in steps that are transactions of their own, and calls `advance` between
them, so that others see how far it is and can stop it:

    @task()
    def write_report(work_id: int) -> None:
        with long_work.progress(work_id) as work:
            work.check_stop()
            for done, part in enumerate(parts, start=1):
                ...
                work.advance(done, total=len(parts))
            work.result_url = reverse(...)
"""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared.errors import HouseError, NotAllowedNow
from inventory.shared.models import LongWork
from inventory.shared.people import Person

logger = logging.getLogger(__name__)

# Seconds between two notes of how far it is.
NOTE_EVERY = 0.5
# Work that was silent for so long was lost with its machine.
SILENT_MAX = timedelta(minutes=15)
# Work that was silent for so long ends when somebody stops it: nothing may be there to hear it.
HEARS_NO_STOP = timedelta(minutes=2)


class Stopped(Exception):
    """Somebody asked the work to stop; raised by `advance`, and caught where the work began."""


class Progress:
    """How far one piece of work is; `result_url` and `message` are kept when it ends."""

    def __init__(self, work: LongWork) -> None:
        self.work = work
        self.result_url = ""
        self.message = ""
        self._noted_at = 0.0

    def advance(self, done: int, *, total: int | None = None, message: str | None = None) -> None:
        """Note how far it is, at most twice a second; raises `Stopped` when that was asked for.

        Call it between transactions: within one, nobody else would see it.
        """
        if message is not None:
            self.message = message
        now = time.monotonic()
        if now - self._noted_at < NOTE_EVERY and done != total:
            return
        self._noted_at = now
        self.work.done = done
        if total is not None:
            self.work.total = total
        LongWork.objects.filter(pk=self.work.pk).update(
            done=self.work.done,
            total=self.work.total,
            message=self.message,
            heard_at=timezone.now(),
        )
        self.check_stop()

    def check_stop(self) -> None:
        """Raise `Stopped` when somebody asked the work to stop."""
        if LongWork.objects.filter(pk=self.work.pk, stop_asked=True).exists():
            raise Stopped


def begin(*, kind: str, title: str, total: int = 0, started_by: Person | None = None) -> LongWork:
    """Note that long work was asked for; the caller enqueues its task in the same transaction."""
    return LongWork.objects.create(kind=kind, title=title, total=total, started_by=started_by)


@contextmanager
def progress(work_id: int) -> Iterator[Progress]:
    """Do a piece of work within this block, and note how it ended.

    What the house refuses is said on its page; anything else is logged, and said to have failed.
    Begin the block with `check_stop`: somebody may have stopped the work before it began.
    """
    work = LongWork.objects.get(pk=work_id)
    LongWork.objects.filter(pk=work_id).exclude(state__in=LongWork.ENDED).update(
        state=LongWork.State.WORKING, heard_at=timezone.now()
    )
    noted = Progress(work)
    try:
        yield noted
    except Stopped:
        _end(noted, LongWork.State.STOPPED, noted.message or _("It was stopped."))
    except HouseError as error:
        _end(noted, LongWork.State.FAILED, " ".join(str(each.message) for each in error.problems))
    except Exception:
        logger.exception("Long work failed: %s", work.title)
        _end(noted, LongWork.State.FAILED, _("It failed. The log says why."))
    else:
        noted.work.done = noted.work.total or noted.work.done
        _end(noted, LongWork.State.DONE, noted.message)


def ask_to_stop(work: LongWork) -> None:
    """Ask the work to stop at its next step; raises `NotAllowedNow` once it has ended."""
    asked = LongWork.objects.filter(pk=work.pk).exclude(state__in=LongWork.ENDED)
    if not asked.update(stop_asked=True):
        raise NotAllowedNow(_("This has ended already."))
    # One that no worker has taken up yet ends here; its task finds that out.
    LongWork.objects.filter(pk=work.pk, state=LongWork.State.WAITING).update(
        state=LongWork.State.STOPPED,
        message=_("It was stopped before it began."),
        finished_at=timezone.now(),
    )
    # Where it does go on, it stops at its next step and says so again.
    LongWork.objects.filter(
        pk=work.pk,
        state=LongWork.State.WORKING,
        heard_at__lt=timezone.now() - HEARS_NO_STOP,
    ).update(state=LongWork.State.STOPPED, message=_("It was stopped."), finished_at=timezone.now())


def is_lost(work: LongWork) -> bool:
    """Tell whether work said nothing for so long that its machine must have stopped."""
    silent = timezone.now() - work.heard_at
    return work.state == LongWork.State.WORKING and silent > SILENT_MAX


def end_lost() -> int:
    """Note that work which a machine that stopped has left will not go on; return how many."""
    lost = LongWork.objects.filter(
        state=LongWork.State.WORKING, heard_at__lt=timezone.now() - SILENT_MAX
    )
    return lost.update(
        state=LongWork.State.FAILED,
        message=_("It was lost when the service stopped. Begin it again."),
        finished_at=timezone.now(),
    )


def _end(noted: Progress, state: LongWork.State, message: str) -> None:
    LongWork.objects.filter(pk=noted.work.pk).update(
        state=state,
        done=noted.work.done,
        total=noted.work.total,
        message=message,
        result_url=noted.result_url,
        heard_at=timezone.now(),
        finished_at=timezone.now(),
    )

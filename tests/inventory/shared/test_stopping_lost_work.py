"""Work that was lost with its machine ends when somebody stops it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.shared.models import LongWork
from inventory.shared.services import long_work
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("silent", "state"),
    [(timedelta(seconds=90), "working"), (timedelta(minutes=3), "stopped")],
)
def test_work_that_was_silent_for_minutes_ends_at_once(silent, state):
    work = long_work.begin(kind="import", title="List", started_by=builders.person())
    LongWork.objects.filter(pk=work.pk).update(state="working", heard_at=timezone.now() - silent)

    long_work.ask_to_stop(work)

    work.refresh_from_db()
    assert (work.state, work.stop_asked, work.has_ended) == (state, True, state == "stopped")

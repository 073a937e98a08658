"""Bring events to the programs that are told, again until they are taken or given up.

One task looks after one program: it sends what is due, for a few seconds at most, and queues itself
for what comes next. E-mails go before it, and after a failure or a slow answer the program rests,
so that no program holds anything else back. A message is taken up by a worker that moves its next
attempt into the future and commits that first: one that stops half-way has it sent again, with the
same id. So a program may get a message twice, and never misses one.
"""

import random
import time
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, Min, Q
from django.utils import timezone
from django_tasks import TaskResultStatus, task
from django_tasks_db.models import DBTaskResult, get_date_max

from apiary_sales.webhooks import connecting, signing
from apiary_sales.webhooks.connecting import Sent
from apiary_sales.webhooks.models import ANSWER_KEPT, Endpoint, EventDelivery, HouseEvent
from apiary_sales.webhooks.rules import attempts

# After e-mails and everything else.
PRIORITY = -10
# Seconds after which a task begins no other attempt.
BUDGET = 5.0
# Longer than one attempt takes: whoever took a message up has stopped by then.
TAKEN_UP_FOR = timedelta(minutes=2)
# Messages that are over are kept so long.
KEPT_FOR = timedelta(days=30)
SECRET_UNREADABLE = "The secret can't be read any more: renew it."


@task(priority=PRIORITY)
def tell(endpoint: int) -> str:
    """Send a program what is due, and return what was done; it is safe to run twice."""
    began, sent = time.monotonic(), 0
    while time.monotonic() - began < BUDGET:
        delivery = _taken_up(endpoint)
        if delivery is None:
            break
        _note(delivery, _sent(delivery))
        sent += 1
    queue_next(endpoint)
    return f"{sent} sent"


def queue_waiting() -> int:
    """Queue each program that something waits for and whose task a worker that stopped has lost.

    Returns how many there are.
    """
    waiting = EventDelivery.objects.filter(state=EventDelivery.State.WAITING, endpoint__is_on=True)
    found = list(waiting.order_by().values_list("endpoint", flat=True).distinct())
    for endpoint in found:
        queue_next(endpoint)
    return len(found)


@transaction.atomic
def queue_next(endpoint: int) -> None:
    """Queue the next attempt for a program, unless there is none, or it is queued already."""
    waiting = EventDelivery.objects.filter(
        endpoint=endpoint, endpoint__is_on=True, state=EventDelivery.State.WAITING
    )
    due = waiting.aggregate(at=Min("next_try_at"), rests=Min("endpoint__rests_until"))
    if due["at"] is None:
        return
    at = max(due["at"], due["rests"] or due["at"])
    queued = DBTaskResult.objects.filter(
        Q(run_after__lte=at) | Q(run_after=get_date_max()),
        task_path=tell.module_path,
        status=TaskResultStatus.READY,
        args_kwargs={"args": [endpoint], "kwargs": {}},
    )
    if not queued.exists():
        tell.using(run_after=at).enqueue(endpoint)


@transaction.atomic
def prune(*, now: datetime | None = None) -> int:
    """Delete messages that were taken or given up over 30 days ago; return how many."""
    before = (now or timezone.now()) - KEPT_FOR
    old = EventDelivery.objects.exclude(state=EventDelivery.State.WAITING).filter(
        Q(tried_at__lt=before) | Q(tried_at=None, began_at__lt=before)
    )
    count = old.count()
    old.delete()
    HouseEvent.objects.filter(deliveries=None, happened_at__lt=before).delete()
    return count


@transaction.atomic
def _taken_up(endpoint: int) -> EventDelivery | None:
    now = timezone.now()
    due = EventDelivery.objects.filter(
        Q(endpoint__rests_until=None) | Q(endpoint__rests_until__lte=now),
        endpoint=endpoint,
        endpoint__is_on=True,
        state=EventDelivery.State.WAITING,
        next_try_at__lte=now,
    )
    found = due.select_related("endpoint", "event").order_by("next_try_at", "id").first()
    if found is None:
        return None
    # Another worker may have been faster: then its own task goes on.
    same = EventDelivery.objects.filter(
        pk=found.pk, state=EventDelivery.State.WAITING, next_try_at=found.next_try_at
    )
    taken = same.update(tries=F("tries") + 1, tried_at=now, next_try_at=now + TAKEN_UP_FOR)
    if not taken:
        return None
    # Whatever becomes of this worker, another goes on.
    queue_next(endpoint)
    return found


def _sent(delivery: EventDelivery) -> Sent:
    endpoint, event = delivery.endpoint, delivery.event
    try:
        headers = signing.headers(
            endpoint, event_id=event.event_id, body=event.body, now=timezone.now()
        )
    except signing.SecretUnreadable:
        return Sent(None, "", SECRET_UNREADABLE, timedelta(0))
    return connecting.post(
        endpoint.url, event.body, headers, is_in_own_network=endpoint.is_in_own_network
    )


@transaction.atomic
def _note(delivery: EventDelivery, sent: Sent) -> None:
    """Note what became of an attempt, at the message and at its program."""
    now = timezone.now()
    endpoint = Endpoint.objects.select_for_update(no_key=True).get(pk=delivery.endpoint_id)
    delivery = EventDelivery.objects.select_for_update().get(pk=delivery.pk)
    delivery.status, delivery.answer = sent.status, sent.answer[:ANSWER_KEPT]
    delivery.error = sent.error[:ANSWER_KEPT]
    if sent.is_taken:
        _end(delivery, EventDelivery.State.TAKEN, now)
        rest = attempts.rest_after_success(sent.took)
        endpoint.failures, endpoint.failing_since = 0, None
    elif delivery.state == EventDelivery.State.WAITING:
        # It may have been ended meanwhile by whoever switched the program off.
        delivery.next_try_at = attempts.next_try(
            tries=delivery.tries, began_at=delivery.began_at, now=now, chance=random.random()
        )
        if delivery.next_try_at is None:
            _end(delivery, EventDelivery.State.GIVEN_UP, now)
    if not sent.is_taken:
        endpoint.failures += 1
        endpoint.failing_since = endpoint.failing_since or now
        rest = attempts.rest_after_failures(endpoint.failures)
    delivery.save()
    endpoint.rests_until = now + rest if rest else None
    endpoint.save(update_fields=["failures", "failing_since", "rests_until"])
    failing_for = now - (endpoint.failing_since or now)
    if endpoint.is_on and failing_for >= attempts.SWITCHED_OFF_AFTER:
        end(endpoint, given_up_at=now)


def end(endpoint: Endpoint, *, given_up_at: datetime | None = None) -> None:
    """Switch a program off, and give up what waits for it; `given_up_at` where it only failed."""
    endpoint.is_on, endpoint.given_up_at = False, given_up_at
    endpoint.save(update_fields=["is_on", "given_up_at"])
    endpoint.deliveries.filter(state=EventDelivery.State.WAITING).update(
        state=EventDelivery.State.GIVEN_UP, next_try_at=None
    )


def _end(delivery: EventDelivery, state: EventDelivery.State, now: datetime) -> None:
    delivery.state, delivery.next_try_at = state, None
    delivery.taken_at = now if state == EventDelivery.State.TAKEN else None

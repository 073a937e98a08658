"""Note what happened for the programs that are told, in the transaction of the act itself."""

import json
import uuid
from collections.abc import Iterable, Mapping
from datetime import UTC

from django.db.models import Model
from django.utils import timezone

from apiary_sales.webhooks.models import Endpoint, EventDelivery, HouseEvent
from apiary_sales.webhooks.services import sending
from inventory.shared import acts
from inventory.shared.prepared import PreparedQuery

_PROGRAMS_ON = PreparedQuery(lambda: Endpoint.objects.filter(is_on=True))


def told_of(kind: HouseEvent.Kind) -> list[Endpoint]:
    """Return the programs that are told of such events now."""
    programs = acts.kept("programs told", _PROGRAMS_ON.rows)
    return [each for each in programs if kind in each.kinds]


@acts.act
def record(
    *,
    kind: HouseEvent.Kind,
    thing: Model | None,
    data: Mapping[str, object],
    to: Iterable[Endpoint],
) -> HouseEvent:
    """Note an event and queue it for these programs; `data` has keys and addresses, nobody's name.

    Whoever is told gets it if and only if the act is kept.
    """
    now = timezone.now()
    event_id = f"evt_{uuid.uuid4().hex}"
    body = {
        "type": str(kind),
        "id": event_id,
        "timestamp": now.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "data": dict(data),
    }
    event = HouseEvent.objects.create(
        event_id=event_id,
        kind=kind,
        happened_at=now,
        thing=thing._meta.label if thing is not None else "",
        thing_key=thing.pk if thing is not None else None,
        body=json.dumps(body, ensure_ascii=False, separators=(",", ":")),
    )
    for endpoint in to:
        EventDelivery.objects.create(event=event, endpoint=endpoint, began_at=now, next_try_at=now)
        sending.tell.enqueue(endpoint.pk)
    return event

"""Which programs are told, and what became of the messages to them."""

from django.db.models import Count, Q, QuerySet

from apiary_sales.webhooks.models import Endpoint, EventDelivery


def endpoints() -> QuerySet[Endpoint]:
    """Return all programs by name, each with how many messages wait for it and were given up."""
    state = EventDelivery.State
    return Endpoint.objects.select_related("made_by").annotate(
        waiting_count=Count("deliveries", filter=Q(deliveries__state=state.WAITING)),
        given_up_count=Count("deliveries", filter=Q(deliveries__state=state.GIVEN_UP)),
    )


def deliveries() -> QuerySet[EventDelivery]:
    """Return all messages, the newest first."""
    return EventDelivery.objects.select_related("event", "endpoint").order_by("-id")


def given_up() -> QuerySet[Endpoint]:
    """Return the programs that were switched off because they only failed."""
    return Endpoint.objects.filter(given_up_at__isnull=False)

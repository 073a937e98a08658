"""Say which programs are told, of what and where; send a test, and send again."""

from collections.abc import Iterable
from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.webhooks import signing
from apiary_sales.webhooks.models import ADDRESS_MAX, KINDS, Endpoint, EventDelivery, HouseEvent
from apiary_sales.webhooks.rules import addresses
from apiary_sales.webhooks.services import events, sending
from inventory.shared import words
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.people import Person

# Each act looks at all of them.
ENDPOINTS_MAX = 20
# After a renewal the old secret signs too for so long.
OLD_SECRET_FOR = timedelta(days=1)


@transaction.atomic
def add(
    *, name: str, url: str, kinds: Iterable[str], is_in_own_network: bool, made_by: Person
) -> tuple[Endpoint, str]:
    """Add a program, and return it with its secret, which nobody can look up afterwards.

    Raises `BadValue` for a name, an address or kinds that can't be, `NotAllowedNow` where there
    are too many programs.
    """
    checked = _checked(None, name, url, kinds, is_in_own_network)
    if Endpoint.objects.count() >= ENDPOINTS_MAX:
        raise NotAllowedNow(
            _("There are %(count)s programs already. Change one of those that are not in use.")
            % {"count": words.number(ENDPOINTS_MAX)}
        )
    secret = signing.new_secret()
    endpoint = Endpoint.objects.create(
        **checked,
        sealed_secret=signing.seal(secret),
        made_by=made_by,
    )
    return endpoint, secret


@transaction.atomic
def change(
    *, endpoint: Endpoint, name: str, url: str, kinds: Iterable[str], is_in_own_network: bool
) -> Endpoint:
    """Change what a program is told, and where; what waits goes to the new address.

    Raises `BadValue`.
    """
    endpoint = _locked(endpoint)
    for field, value in _checked(endpoint, name, url, kinds, is_in_own_network).items():
        setattr(endpoint, field, value)
    # A new address begins afresh.
    endpoint.failures, endpoint.failing_since, endpoint.rests_until = 0, None, None
    endpoint.save()
    sending.queue_next(endpoint.pk)
    return endpoint


@transaction.atomic
def renew_secret(*, endpoint: Endpoint) -> str:
    """Give a program a new secret, and return it; the old one signs too for a day."""
    endpoint = _locked(endpoint)
    secret = signing.new_secret()
    endpoint.sealed_old_secret = endpoint.sealed_secret
    endpoint.old_secret_until = timezone.now() + OLD_SECRET_FOR
    endpoint.sealed_secret = signing.seal(secret)
    endpoint.save(update_fields=["sealed_secret", "sealed_old_secret", "old_secret_until"])
    return secret


@transaction.atomic
def switch_off(*, endpoint: Endpoint) -> Endpoint:
    """Tell a program no more, and give up what waits for it."""
    endpoint = _locked(endpoint)
    sending.end(endpoint)
    return endpoint


@transaction.atomic
def switch_on(*, endpoint: Endpoint) -> Endpoint:
    """Tell a program again of what happens from now on."""
    endpoint = _locked(endpoint)
    endpoint.is_on, endpoint.given_up_at = True, None
    endpoint.failures, endpoint.failing_since, endpoint.rests_until = 0, None, None
    endpoint.save()
    return endpoint


@transaction.atomic
def send_test(*, endpoint: Endpoint) -> EventDelivery:
    """Send a program a test. Raises `NotAllowedNow` for one that is switched off."""
    endpoint = _on(endpoint)
    event = events.record(kind=HouseEvent.Kind.TEST, thing=None, data={}, to=[endpoint])
    return event.deliveries.get()


@transaction.atomic
def send_again(*, delivery: EventDelivery) -> EventDelivery:
    """Send a message once more, now, with its id and body as they were.

    Raises `NotAllowedNow` for a program that is switched off.
    """
    endpoint = _on(delivery.endpoint)
    delivery = EventDelivery.objects.select_for_update().get(pk=delivery.pk)
    now = timezone.now()
    delivery.state, delivery.tries, delivery.taken_at = EventDelivery.State.WAITING, 0, None
    delivery.began_at = delivery.next_try_at = now
    delivery.save()
    # A person asks for it: it does not wait until the program has rested.
    endpoint.rests_until = None
    endpoint.save(update_fields=["rests_until"])
    sending.tell.enqueue(endpoint.pk)
    return delivery


def _on(endpoint: Endpoint) -> Endpoint:
    endpoint = _locked(endpoint)
    if not endpoint.is_on:
        raise NotAllowedNow(
            _("%(name)s is switched off. Switch it on first.") % {"name": endpoint.name}
        )
    return endpoint


def _locked(endpoint: Endpoint) -> Endpoint:
    # No act of the house waits for it: new messages point at its key alone.
    return Endpoint.objects.select_for_update(no_key=True).get(pk=endpoint.pk)


def _checked(
    endpoint: Endpoint | None, name: str, url: str, kinds: Iterable[str], is_in_own_network: bool
) -> dict[str, object]:
    name, url, chosen = name.strip(), url.strip(), set(kinds)
    known = [kind for kind, _label in KINDS]
    own_key = endpoint.pk if endpoint is not None else 0
    problems = Problems()
    if not name:
        problems.add("name", _("Enter what the program is called."))
    elif len(name) > 80:
        problems.add("name", _("This name is too long. Use at most 80 characters."))
    elif Endpoint.objects.filter(name=name).exclude(pk=own_key).exists():
        problems.add("name", _("There is a program of this name already."))
    if len(url) > ADDRESS_MAX:
        problems.add("url", _("This address is too long. Use at most 500 characters."))
    else:
        try:
            addresses.check_named(url, is_in_own_network=is_in_own_network)
        except addresses.AddressRefused as error:
            problems.add("url", str(error))
    if not chosen:
        problems.add("kinds", _("Choose what the program is told of."))
    elif not chosen <= set(known):
        problems.add("kinds", _("Choose from these: %(kinds)s.") % {"kinds": ", ".join(known)})
    problems.raise_any()
    return {
        "name": name,
        "url": url,
        "kinds": [kind for kind in known if kind in chosen],
        "is_in_own_network": is_in_own_network,
    }

"""Keys with which programs ask the API in the name of a person: made, used, revoked."""

from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from knox.crypto import hash_token

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import ApiToken, User
from inventory.shared import words
from inventory.shared.errors import NotAllowedNow, Problems


@transaction.atomic
def make(*, person: User, name: str, scopes: str, days: int) -> tuple[ApiToken, str]:
    """Make a key for a program, and return it with its text, which nobody can look up afterwards.

    It works for `days` days, at most a year. Raises `BadValue`, and `NotAllowedNow` for a person
    who can't sign in or has too many keys.
    """
    person = User.objects.select_for_update().get(pk=person.pk)
    name = name.strip()
    problems = Problems()
    if not name:
        problems.add("name", _("Enter what the program is called."))
    elif len(name) > ApiToken._meta.get_field("name").max_length:
        problems.add("name", _("This name is too long. Use at most 80 characters."))
    if scopes not in ApiToken.Scopes.values:
        problems.add(
            "scopes",
            _("Choose what the program may do: %(choices)s.")
            % {"choices": ", ".join(ApiToken.Scopes.values)},
        )
    if not 1 <= days <= rules.TOKEN_DAYS_MAX:
        problems.add("days", _("Enter a number of days from 1 to 365."))
    problems.raise_any()
    if not person.is_active:
        raise NotAllowedNow(
            _("%(name)s is switched off and can't sign in.") % {"name": person.display_name},
            parameter="person",
        )
    if ApiToken.objects.filter(user=person, expiry__gt=timezone.now()).count() >= rules.TOKENS_MAX:
        raise NotAllowedNow(
            _("%(name)s has %(count)s keys for programs already. Revoke those not in use.")
            % {"name": person.display_name, "count": words.number(rules.TOKENS_MAX)}
        )
    token, text = ApiToken.objects.create(
        user=person, expiry=timedelta(days=days), name=name, scopes=scopes
    )
    return token, text


@transaction.atomic
def revoke(*, token: ApiToken) -> None:
    """End a key at once and for good; one that has ended already stays so."""
    ApiToken.objects.filter(pk=token.pk).delete()


@transaction.atomic
def note_use(*, token: ApiToken) -> None:
    """Keep the day on which a program last used its key."""
    today = timezone.localdate()
    if token.last_used_on != today:
        ApiToken.objects.filter(pk=token.pk).update(last_used_on=today)


@transaction.atomic
def note_recorded(*, text: str, up_to: int) -> None:
    """Keep how far the log of the database was when a program had recorded something.

    `text` is its key as it was sent; one that nobody has is left out.
    """
    ApiToken.objects.filter(digest=hash_token(text)).update(recorded_up_to=up_to)


@transaction.atomic
def end_all(*, person: User) -> int:
    """End every key of a person's programs; return how many there were."""
    ended, _by_model = ApiToken.objects.filter(user=person).delete()
    return ended


@transaction.atomic
def clear_expired() -> int:
    """Remove the keys that no longer work; return how many."""
    cleared, _by_model = ApiToken.objects.filter(expiry__lte=timezone.now()).delete()
    return cleared

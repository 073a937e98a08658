"""A link with which a person who lost the password sets a new one, once.

Django's own token is in it: it is signed over the password's hash and the last sign-in, so that it
ends with its use, with any other new password, with a sign-in, and after PASSWORD_RESET_TIMEOUT;
and here over the role, whether the person may sign in, and when that was changed last as the trail
of changes has it. So it ends with another role and with being switched off, also where the person
is switched on again within its hours.
"""

import smtplib
from datetime import datetime
from hashlib import sha256
from typing import Any

from auditlog.models import LogEntry
from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Max, Q
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _
from django_tasks import task

from apiary_sales.accounts import rules
from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import tries
from apiary_sales.accounts.services.pins import in_words
from inventory.shared.errors import NotAllowedNow, TooManyTries
from inventory.shared.models import House

# E-mails that stay in the house reach nobody.
STAY_IN_THE_HOUSE = (
    "django.core.mail.backends.filebased.EmailBackend",
    "django.core.mail.backends.console.EmailBackend",
    "django.core.mail.backends.dummy.EmailBackend",
)


class LinkTokens(PasswordResetTokenGenerator):
    """The tokens of links: see above for what ends them."""

    def _make_hash_value(self, user: Any, timestamp: int) -> str:
        switched = (
            LogEntry.objects.get_for_object(user)
            .filter(changes__has_key="is_active")
            .aggregate(last=Max("pk"))["last"]
        )
        ends_with = f"{user.role}{user.is_active}{switched}"
        return f"{super()._make_hash_value(user, timestamp)}{ends_with}"


LINKS = LinkTokens()


def is_mail_set() -> bool:
    """Tell whether e-mails leave the house, so that a link can be sent."""
    return settings.EMAIL_BACKEND not in STAY_IN_THE_HOUSE and bool(_sender())


def hours() -> int:
    """Return for how many hours a link works."""
    return int(settings.PASSWORD_RESET_TIMEOUT) // 3600


def link_for(*, person: User, site: str) -> str:
    """Return a link with which this person sets a new password; `site` is as https://house.example.

    Raises `NotAllowedNow` for a person who can't sign in.
    """
    if not person.is_active:
        raise NotAllowedNow(
            _("%(name)s is switched off and can't sign in.") % {"name": person.display_name},
            parameter="person",
        )
    uid = urlsafe_base64_encode(force_bytes(person.pk))
    token = LINKS.make_token(person)
    return site + reverse("accounts:new_password", args=[uid, token])


def ask(*, name: str, site: str, address: str) -> None:
    """Send a link to whoever has this name or e-mail address, if anybody; never tell whether.

    What is done, and how long it takes, is the same for a name that is known and one that is not:
    the e-mail is sent in the background. Who asks, and what for, may be asked five times; then
    there is a wait of a minute, doubled with each further time up to an hour, whatever the name.

    Raises `TooManyTries`, and `NotAllowedNow` where no e-mail leaves the house.
    """
    if not is_mail_set():
        raise NotAllowedNow(_("This service sends no e-mails. Ask the owner for a link."))
    typed = name.strip()
    _count(f"lost-name-{_digest(typed.casefold())}", f"lost-from-{_digest(address)}")
    known = User.objects.filter(is_active=True).filter(
        Q(username__iexact=typed) | (Q(email__iexact=typed) & ~Q(email=""))
    )
    with transaction.atomic():
        send_links.enqueue(list(known.values_list("pk", flat=True)[:3]), site, _language())


@transaction.atomic
def send(*, person: User, site: str) -> None:
    """Send a person a link by e-mail. Raises `NotAllowedNow` where that can't be done."""
    if not is_mail_set():
        raise NotAllowedNow(_("This service sends no e-mails. Give the person the link yourself."))
    if not person.email:
        raise NotAllowedNow(
            _("%(name)s has no e-mail address. Enter it first.") % {"name": person.display_name}
        )
    link_for(person=person, site=site)
    send_links.enqueue([person.pk], site, _language())


@task()
def send_links(people: list[int], site: str, language: str) -> int:
    """Send a link to each of these people who has an e-mail address; return how many were sent.

    The token is made here, so that it is in no row of the queue.
    """
    sent = 0
    for person in User.objects.filter(pk__in=people, is_active=True).exclude(email=""):
        with translation.override(language):
            message = EmailMessage(
                subject=_("A new password"),
                body=render_to_string(
                    "accounts/lost_password_email.txt",
                    {
                        "person": person,
                        "link": link_for(person=person, site=site),
                        "hours": hours(),
                        "house": House.current().name,
                    },
                ),
                from_email=_sender(),
                to=[person.email],
            )
        try:
            sent += message.send()
        except smtplib.SMTPRecipientsRefused:
            # An address that does not exist is no failure of the service.
            continue
    return sent


def _sender() -> str:
    return settings.EMAIL_FROM or House.current().email


def _language() -> str:
    return translation.get_language() or settings.LANGUAGE_CODE


def _digest(text: str) -> str:
    """Return a short text in place of what somebody typed, however long that is."""
    return sha256(text.encode()).hexdigest()


@transaction.atomic
def _allowed_at(*names: str) -> datetime | None:
    """Count a try under each name; return until when no further one is allowed, None for now."""
    rows, now = tries.locked(*names), timezone.now()
    waiting = [row.wait_until for row in rows if row.wait_until and row.wait_until > now]
    if waiting:
        return max(waiting)
    for row in rows:
        if row.wait_until and row.wait_until + rules.LONGEST_WAIT < now:
            row.wrong = 0
    tries.count(rows, now)
    return None


def _count(*names: str) -> None:
    until = _allowed_at(*names)
    if until is not None:
        seconds = max(1, round((until - timezone.now()).total_seconds()))
        raise TooManyTries(
            _("This was asked for too often. Try again in %(wait)s.") % {"wait": in_words(seconds)},
            wait_seconds=seconds,
            parameter="name",
        )

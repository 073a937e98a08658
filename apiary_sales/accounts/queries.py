"""Read who works here, and who changed what."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, cast

from auditlog.models import LogEntry
from auditlog.registry import auditlog
from django.contrib.contenttypes.models import ContentType
from django.db import models
from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.db.models.expressions import Combinable
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from knox.crypto import hash_token

from apiary_sales.accounts import browsers, locks, roles
from apiary_sales.accounts.models import ApiToken, SellerPin, SignIn, User
from apiary_sales.accounts.second_step_models import (
    Passkey,
    RecoveryCode,
    SecondStep,
    SecondStepRule,
)
from inventory.shared import asked_together, days, words

NOTHING = "–"
# More than a family mistypes in two days.
MANY_WRONG_TRIES = 15
LOCKS_SHOWN = 20
SIGN_IN_TAGS = {
    SignIn.Outcome.IN: "good",
    SignIn.Outcome.WRONG_PASSWORD: "warn",
    SignIn.Outcome.WRONG_SECOND_FACTOR: "warn",
    SignIn.Outcome.LOCKED: "bad",
}
ACTS = {
    LogEntry.Action.CREATE: gettext_lazy("added"),
    LogEntry.Action.UPDATE: gettext_lazy("changed"),
    LogEntry.Action.DELETE: gettext_lazy("removed"),
}


def everyone() -> QuerySet[User]:
    """Return all people, those who can sign in first."""
    return User.objects.order_by("-is_active", "first_name", "username")


def owner_names() -> list[str]:
    """Return the names of the owners who can sign in: whom to ask."""
    owners = User.objects.filter(role=User.Role.OWNER, is_active=True)
    return [owner.display_name for owner in owners.order_by("first_name", "username")]


@dataclass(frozen=True)
class Seller:
    """A person who can be recorded as the seller at the stand."""

    id: int
    name: str
    has_pin: bool


def sellers() -> list[Seller]:
    """Return the active people who may sell at the stand, by name, in one query."""
    found = User.objects.filter(is_active=True, role__in=roles.that_may(roles.SELL))
    rows = found.annotate(has_pin=Exists(SellerPin.objects.filter(person=OuterRef("pk"))))
    return [
        Seller(id=row.pk, name=row.display_name, has_pin=row.has_pin)
        for row in rows.order_by("first_name", "username")
    ]


def pin_of(person: User) -> SellerPin | None:
    """Return since when a person has a PIN, and who set it."""
    return SellerPin.objects.select_related("set_by").filter(person=person).first()


@dataclass(frozen=True)
class SecondStepState:
    """What a person signs in with beside the password, and whether the house requires it."""

    app: SecondStep | None
    codes_left: int
    passkeys: list[Passkey]
    is_required: bool

    @property
    def is_any(self) -> bool:
        return self.app is not None or bool(self.passkeys)


def second_step_of(person: User) -> SecondStepState:
    """Return the second step of a person, their passkeys by name, and whether it is required."""
    return SecondStepState(
        app=SecondStep.objects.filter(person=person).first(),
        codes_left=RecoveryCode.objects.filter(person=person).count(),
        passkeys=list(Passkey.objects.filter(person=person).order_by("name", "pk")),
        is_required=SecondStepRule.current().binds(person),
    )


@dataclass(frozen=True)
class Figure:
    """One thing that was changed, in the reader's words."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class TrailEntry:
    """What one person did to one row: added, changed or removed it."""

    when: datetime
    who: str
    action: int
    kind: str
    name: str
    figures: tuple[Figure, ...]

    @property
    def act(self) -> str:
        return str(ACTS[self.action])

    @property
    def is_change(self) -> bool:
        return self.action == LogEntry.Action.UPDATE

    @property
    def is_removal(self) -> bool:
        return self.action == LogEntry.Action.DELETE

    @classmethod
    def of(cls, entry: LogEntry) -> "TrailEntry":
        """Say an entry of the trail in words; what stayed empty is left out."""
        model = entry.content_type.model_class()
        # Only the row's own columns: the entry of a new row also lists its reverse relations.
        kept = [field for field in model._meta.concrete_fields if field.name in entry.changes]
        return cls(
            when=entry.timestamp,
            who=entry.actor.display_name if entry.actor else "",
            action=entry.action,
            kind=capfirst(model._meta.verbose_name),
            name=entry.object_repr,
            figures=tuple(
                Figure(str(field.verbose_name), _shown(field, before), _shown(field, after))
                for field in kept
                for before, after in [entry.changes[field.name]]
                if (before or after) not in (None, "")
            ),
        )


def changes(
    *,
    kind: ContentType | None = None,
    person: User | None = None,
    first: date | None = None,
    last: date | None = None,
) -> QuerySet[LogEntry]:
    """Return what people changed in all that is set up, the newest first.

    Postings, orders and invoices are not among them: each says itself who made it.
    """
    found = LogEntry.objects.select_related("actor", "content_type").order_by("-timestamp", "-pk")
    if kind:
        found = found.filter(content_type=kind)
    if person:
        found = found.filter(actor=person)
    return found.filter(**days.lookups("timestamp", first, last))


def sign_ins(
    *,
    person: User | None = None,
    outcome: str = "",
    first: date | None = None,
    last: date | None = None,
) -> QuerySet[SignIn]:
    """Return who signed in or tried to, the newest first."""
    found = SignIn.objects.select_related("person")
    if person:
        found = found.filter(person=person)
    if outcome:
        found = found.filter(outcome=outcome)
    return found.filter(**days.lookups("at", first, last))


def name_shown(person: User | None, mark: str) -> str:
    """Return who it was, or by what one knows the same unknown name again."""
    if person:
        return person.display_name
    if mark:
        return _("unknown name (mark %(mark)s)") % {"mark": mark[: locks.MARK_SHOWN]}
    return NOTHING


@dataclass(frozen=True)
class SignInRow:
    """A sign-in, or a try of one, in the reader's words."""

    at: datetime
    who: str
    username: str
    address: str
    browser: str
    outcome: str
    tag: str
    times: int

    @classmethod
    def of(cls, entry: SignIn) -> "SignInRow":
        outcome = SignIn.Outcome(entry.outcome)
        return cls(
            at=entry.at,
            who=name_shown(entry.person, entry.mark),
            username=entry.person.username if entry.person else "",
            address=entry.address or NOTHING,
            browser=browsers.in_words(entry.browser),
            outcome=str(outcome.label),
            tag=SIGN_IN_TAGS.get(outcome, ""),
            times=entry.times,
        )


@dataclass(frozen=True)
class LockRow:
    """What is locked now, in the reader's words, and what unlocks it."""

    who: str
    mark: str
    address: str
    wrong: int
    until: datetime


def locked() -> list[LockRow]:
    """Return which names and addresses are locked at this moment."""
    found = locks.locked_now()
    if not found:
        return []
    people = {locks.mark_of(person.username): person for person in User.objects.all()}
    return [
        LockRow(
            who=name_shown(people.get(lock.mark), lock.mark) if lock.mark else "",
            mark=lock.mark,
            address=lock.address,
            wrong=lock.wrong,
            until=lock.until,
        )
        for lock in found[:LOCKS_SHOWN]
    ]


def _wrong_tries(since: datetime) -> QuerySet[SignIn]:
    """Return when a password was wrong, or was not compared because of a lock."""
    return SignIn.objects.filter(
        at__gte=since, outcome__in=(SignIn.Outcome.WRONG_PASSWORD, SignIn.Outcome.LOCKED)
    )


def wrong_tries_since(since: datetime) -> int:
    """Return how often a password was wrong, or was not compared because of a lock."""
    return _wrong_tries(since).aggregate(times=models.Sum("times"))["times"] or 0


def tries_asked() -> Subquery:
    """Ask how often a password was wrong since yesterday, beside other questions."""
    yesterday = days.start_of(timezone.localdate() - timedelta(days=1))
    return asked_together.total(_wrong_tries(yesterday), "times")


def many(tries: int | None) -> int:
    """Return how often a password was wrong, or 0 where it was not often."""
    return tries if tries and tries >= MANY_WRONG_TRIES else 0


def answers(person: User, questions: Mapping[str, Combinable]) -> dict[str, Any]:
    """Answer questions of one value each in one round trip, beside the row of a person.

    See `inventory.shared.asked_together`.
    """
    if not questions:
        return {}
    # Without their names, which a person may have for something else.
    found = User.objects.filter(pk=person.pk).values_list(*questions.values()).get()
    return dict(zip(questions, found, strict=True))


def kinds_tracked() -> QuerySet[ContentType]:
    """Return the kinds of rows whose changes are kept."""
    found = ContentType.objects.get_for_models(*auditlog.get_models()).values()
    return ContentType.objects.filter(pk__in=[kind.pk for kind in found]).order_by("model")


def kind_name(kind: ContentType) -> str:
    """Return what people call such rows."""
    # Only models of this program are tracked, so the kind has its model.
    model = cast(type[models.Model], kind.model_class())
    return capfirst(str(model._meta.verbose_name_plural))


def _shown(field: models.Field, value: Any) -> str:
    """Write a value as people read it: money with its sign, a choice by its words."""
    if value is None or value == "":
        return NOTHING
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if field.name.endswith("_cents"):
        return words.money(value)
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if field.get_internal_type() == "DateField":
        return date_format(date.fromisoformat(value))
    return str(value)


def recorded_up_to(text: str) -> int | None:
    """Return how far the log of the database was when a program last recorded something.

    `text` is its key as it was sent.
    """
    return (
        ApiToken.objects.filter(digest=hash_token(text))
        .values_list("recorded_up_to", flat=True)
        .first()
    )

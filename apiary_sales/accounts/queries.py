"""Read who works here, and who changed what."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

from auditlog.models import LogEntry
from auditlog.registry import auditlog
from django.contrib.contenttypes.models import ContentType
from django.db import models
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import SellerPin, User
from inventory.shared import words

NOTHING = "–"
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
    if first:
        found = found.filter(timestamp__date__gte=first)
    if last:
        found = found.filter(timestamp__date__lte=last)
    return found


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

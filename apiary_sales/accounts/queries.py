"""Read who works here."""

from django.db.models import QuerySet

from .models import User


def everyone() -> QuerySet[User]:
    """Return all people, those who can sign in first."""
    return User.objects.order_by("-is_active", "first_name", "username")


def owner_names() -> list[str]:
    """Return the names of the owners who can sign in: whom to ask."""
    owners = User.objects.filter(role=User.Role.OWNER, is_active=True)
    return [owner.display_name for owner in owners.order_by("first_name", "username")]

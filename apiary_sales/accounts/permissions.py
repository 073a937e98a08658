"""What a person may do, read at once: from the role, and what was granted beside it."""

from typing import Any

from django.contrib.auth.models import Permission
from django.db.models import Q

from apiary_sales.accounts.models import User


class RoleBackend:
    """Reads the permissions of a person in one query, and leaves them with that person.

    Django's own backend asks for those of a person and of a group apart. It comes after this one,
    finds what was read, and signs people in.
    """

    def authenticate(self, _request: Any, **_credentials: Any) -> None:
        """Leave it to the other backends who signs in."""

    def get_all_permissions(self, person: Any, obj: Any = None) -> set[str]:
        """Return the names of all permissions; none on single rows, and none of who is not active.

        An owner may do all and is asked for nothing here.
        """
        if not isinstance(person, User) or not person.is_active or obj is not None:
            return set()
        if person.is_superuser:
            return set()
        # By this name Django's backend keeps what it read.
        if not hasattr(person, "_perm_cache"):
            granted = Permission.objects.filter(Q(user=person) | Q(group__user=person)).order_by()
            names = granted.values_list("content_type__app_label", "codename").distinct()
            person._perm_cache = {f"{app}.{name}" for app, name in names}  # type: ignore[attr-defined]
        return person._perm_cache  # type: ignore[attr-defined]

    def has_perm(self, person: Any, perm: str, obj: Any = None) -> bool:
        return perm in self.get_all_permissions(person, obj)

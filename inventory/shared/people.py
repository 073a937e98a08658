"""The person who records an act: the type that services name, and who that is on a page."""

from typing import TYPE_CHECKING

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

if TYPE_CHECKING:
    # What the stubs of Django call the model that the settings name.
    from django.contrib.auth.models import _User as Person
else:
    # The model of the people belongs to a higher layer, and is not loaded yet when this is.
    from django.contrib.auth.base_user import AbstractBaseUser as Person

__all__ = ["VIEW_COSTS", "Person", "person_of", "sees_costs"]

VIEW_COSTS = "pricing.view_costs"


def person_of(request: HttpRequest) -> Person:
    """Return who is signed in; raises `PermissionDenied` where nobody is."""
    if not request.user.is_authenticated:
        raise PermissionDenied
    return request.user


def sees_costs(request: HttpRequest) -> bool:
    """Tell whether what honey and jars cost is shown to who is signed in."""
    return request.user.has_perm(VIEW_COSTS)

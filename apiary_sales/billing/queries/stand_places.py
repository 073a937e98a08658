"""Where a person may sell over the counter."""

from django.contrib.auth.models import AnonymousUser
from django.db.models import Case, IntegerField, Value, When
from django.db.models.query import QuerySet

from apiary_sales.accounts.models import User
from inventory.stock import own_places
from inventory.stock.models import Place


def places_for(user: User | AnonymousUser) -> QuerySet[Place]:
    """Return where a person may sell from: stands first, then the van, then the shelves.

    Who sells at the stand has no shelves among them. A signed-out person has none at all.
    """
    if not isinstance(user, User):
        return Place.objects.none()
    stores = Place.objects.filter(kind__in=Place.STORES, is_active=True)
    order = Case(
        When(kind=Place.Kind.STAND, then=Value(0)),
        When(kind=Place.Kind.VAN, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    return own_places.of(user, stores).order_by(order, "name", "code")

"""What of places and entries is shown to whom: a shelf at a shop tells who buys from the house.

Such a place bears the name of the shop. Who may not see buyers sees neither it nor the entries that
carried something there or from there.
"""

from collections.abc import Iterable
from dataclasses import replace

from django.db.models import QuerySet

from inventory.shared.people import Person
from inventory.stock.models import Balance, Place, Posting, PostingLine
from inventory.stock.queries.honey import Descendant, LotStory

VIEW_CUSTOMERS = "customers.view_customers"


def sees_shops(person: Person) -> bool:
    """Tell whether a person may see which shops have a shelf of the house."""
    return person.has_perm(VIEW_CUSTOMERS)


def places(person: Person, found: QuerySet[Place]) -> QuerySet[Place]:
    """Return those of these places that a person may see."""
    return found if sees_shops(person) else found.exclude(kind=Place.Kind.CONSIGNMENT)


def stock(person: Person, found: QuerySet[Balance]) -> QuerySet[Balance]:
    """Return what of this stock is where a person may see it."""
    return found if sees_shops(person) else found.exclude(place__kind=Place.Kind.CONSIGNMENT)


def postings(person: Person, found: QuerySet[Posting]) -> QuerySet[Posting]:
    """Return those of these entries that a person may see."""
    if sees_shops(person):
        return found
    at_shops = PostingLine.objects.filter(place__kind=Place.Kind.CONSIGNMENT)
    return found.exclude(pk__in=at_shops.values("posting"))


def story(person: Person, told: LotStory) -> LotStory:
    """Return of the story of a lot what a person may see."""
    if sees_shops(person):
        return told
    return replace(
        told,
        where=places_of_stock(person, told.where),
        became=became(person, told.became),
        postings=[
            row
            for row in told.postings
            if all(line.place.kind != Place.Kind.CONSIGNMENT for line in row.posting.lines.all())
        ],
    )


def became(person: Person, told: Iterable[Descendant]) -> list[Descendant]:
    """Return what a lot became, each with the places that a person may see."""
    return [replace(each, where=places_of_stock(person, each.where)) for each in told]


def places_of_stock(person: Person, told: Iterable[Balance]) -> list[Balance]:
    """Return what of this stock is where a person may see it; as `stock`, of what is read."""
    if sees_shops(person):
        return list(told)
    return [each for each in told if each.place.kind != Place.Kind.CONSIGNMENT]

"""At which places a person may sell, count, write off and look: the one rule for all of it.

Who sells at the stand has business at stands and vans alone. Everybody who may use every place has
no such limit.
"""

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.stock.models import Balance, Place

USE_EVERY_PLACE = "inventory.use_every_place"
ENTER_COUNTS = "inventory.enter_counts"
ADJUST_STOCK = "inventory.adjust_stock"
KINDS = (Place.Kind.STAND, Place.Kind.VAN)


def has_every(person: Person) -> bool:
    """Tell whether a person may act at every place of the house."""
    return person.has_perm(USE_EVERY_PLACE)


def is_own(person: Person, place: Place) -> bool:
    return has_every(person) or place.kind in KINDS


def of(person: Person, places: QuerySet[Place]) -> QuerySet[Place]:
    """Return those of these places at which a person may act."""
    return places if has_every(person) else places.filter(kind__in=KINDS)


def stock_of(person: Person, stock: QuerySet[Balance]) -> QuerySet[Balance]:
    """Return what of this stock is at places at which a person may act."""
    return stock if has_every(person) else stock.filter(place__kind__in=KINDS)


def may_book_count(person: Person, place: Place | None) -> bool:
    """Tell whether a person may let a count of a place, or of everything, change the books.

    Who may enter counts does so at stands and vans; everywhere it takes the right to adjust stock.
    """
    if place is not None and place.kind in KINDS and person.has_perm(ENTER_COUNTS):
        return True
    return has_every(person) and person.has_perm(ADJUST_STOCK)


def check(problems: Problems, parameter: str | None, place: Place, person: Person) -> None:
    """Add a problem for a place at which a person may not act."""
    if not is_own(person, place):
        problems.add(
            parameter,
            _("%(place)s is not a stand or van. Ask the office to do this there.")
            % {"place": place.name},
        )

"""What imports hold of a customer as a person."""

from django.db.models import Count, Max, Min, Sum
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.customers.personal_data import HeldData
from apiary_sales.imports.models import PastSale
from inventory.shared import words


def held(customer: Customer) -> list[HeldData]:
    """Return how much was sold to a customer before the books began."""
    past = PastSale.objects.filter(customer=customer)
    found = past.aggregate(Count("pk"), Min("day"), Max("day"), Sum("amount_cents"))
    if not found["pk__count"]:
        return []
    row = {
        _("sales"): words.number(found["pk__count"]),
        _("from"): date_format(found["day__min"]),
        _("to"): date_format(found["day__max"]),
        _("amount"): words.money(found["amount_cents__sum"]),
    }
    return [
        HeldData(
            _("Sales before the books began"),
            [row],
            stays=_("They are figures for plans and reports, and have no name of their own."),
        )
    ]

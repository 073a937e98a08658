"""What of the lists still needs a customer's personal data."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import

# A shorter text is in too many rows to tell anything.
LENGTH_MIN = 4


def still_needed(customer: Customer) -> Iterator[str]:
    """Say which lists that are not brought in still have the name, e-mail or telephone."""
    known = [text.casefold() for text in (customer.name, customer.email, customer.phone)]
    known = [text for text in known if len(text) >= LENGTH_MIN]
    for begun in Import.objects.filter(state__in=Import.OPEN).order_by("pk"):
        rows = begun.rows.values_list("cells", flat=True)
        if any(_has(cells, known) for cells in rows.iterator()):
            yield _("The list %(file)s has it, and is not brought in: drop it first.") % {
                "file": begun.file_name
            }


def _has(cells: list[str], known: list[str]) -> bool:
    text = "\n".join(cells).casefold()
    return any(each in text for each in known)

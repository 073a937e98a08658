"""Erase what is held of a customer as a person and the books need not keep."""

from auditlog.context import disable_auditlog
from auditlog.models import LogEntry
from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress, Erasure
from apiary_sales.customers.personal_data import holders
from inventory.shared import findable
from inventory.shared.errors import BadValue, NotAllowedNow, Problems
from inventory.shared.models import Attachment
from inventory.shared.people import Person
from inventory.shared.services import files
from inventory.shared.services.repeats import refuse_repeat

EMPTIED = (
    *("contact", "email", "phone", "street", "city", "region", "postal_code", "country"),
    *("country_code", "tax_number", "buyer_reference", "note"),
)
EMPTIED_IN_ADDRESS = ("street", "city", "region", "postal_code", "country", "note")


@transaction.atomic
def erase(*, customer: Customer, asked: str, erased_by: Person, key: str) -> Erasure:
    """Erase what the books need not keep of a customer, and note who asked for it and how.

    The customer stays as a number without a name, so that orders and bills still add up; bills keep
    what they say. It can't be undone. Raises `NotAllowedNow` with each thing that still needs the
    data, `BadValue` and `AlreadyRecorded`.
    """
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    refuse_repeat(Erasure, key)
    if not asked.strip():
        raise BadValue(_("Enter who asked for it, and how."), parameter="asked")
    if Erasure.objects.filter(customer=customer).exists():
        raise NotAllowedNow(_("The data of this customer was erased already."))
    problems = Problems()
    for holder in holders():
        for reason in holder.still_needed(customer):
            problems.add(None, reason)
    problems.raise_any()
    # What was erased would be kept in the trail of changes.
    with disable_auditlog():
        for holder in holders():
            holder.erase(customer)
    findable.erased()
    return Erasure.objects.create(
        customer=customer, asked=asked.strip(), erased_by=erased_by, idempotency_key=key
    )


def erase_here(customer: Customer) -> None:
    """Erase what this app holds: the address, delivery addresses, files, and the trail of them."""
    customer.name = _("Erased customer %(number)s") % {"number": customer.pk}
    for name in EMPTIED:
        setattr(customer, name, "")
    customer.is_active = False
    customer.save()
    addresses = DeliveryAddress.objects.filter(customer=customer)
    for address in addresses:
        address.name = _("Erased address")
        for name in EMPTIED_IN_ADDRESS:
            setattr(address, name, "")
        address.is_active = False
        address.save()
    for attachment in Attachment.objects.of(customer):
        files.erase(attachment)
    LogEntry.objects.get_for_object(customer).update(
        object_repr=customer.name, changes={}, changes_text=""
    )

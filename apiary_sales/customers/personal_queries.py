"""What the house holds of a customer as a person, for the page and the file of it."""

import io
import json
import zipfile

from auditlog.models import LogEntry
from django.utils import timezone
from django.utils.formats import localize
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress, ExemptionCertificate
from apiary_sales.customers.personal_data import HeldData, holders, row_of
from inventory.shared.models import Attachment, House

OF_CUSTOMER = (
    *("name", "kind", "contact", "email", "phone", "street", "city", "region", "postal_code"),
    *("country", "tax_number", "buyer_reference", "language", "note"),
)
OF_CERTIFICATE = ("number", "jurisdiction", "valid_from", "expires")
OF_ADDRESS = ("name", "street", "city", "region", "postal_code", "country", "note")


def held_of(customer: Customer) -> list[HeldData]:
    """Return all that is held of a customer, what has no row left out."""
    return [data for holder in holders() for data in holder.held(customer) if data.rows]


def still_needed(customer: Customer) -> list[str]:
    """Return why the data of a customer can't be erased yet, a sentence each."""
    return [reason for holder in holders() for reason in holder.still_needed(customer)]


def held_here(customer: Customer) -> list[HeldData]:
    """Return what this app holds of a customer."""
    addresses = DeliveryAddress.objects.filter(customer=customer)
    certificates = ExemptionCertificate.objects.filter(customer=customer)
    files = Attachment.objects.of(customer)
    trail = LogEntry.objects.get_for_object(customer).order_by("timestamp")
    return [
        HeldData(_("Name and address"), [row_of(customer, *OF_CUSTOMER)]),
        HeldData(_("Delivery addresses"), [row_of(each, *OF_ADDRESS) for each in addresses]),
        HeldData(
            _("Exemption certificates"),
            [
                row_of(each, "number", "jurisdiction", "valid_from", "expires")
                for each in certificates
            ],
            stays=_("They show why no tax was charged. Tax law asks to keep them with the bills."),
        ),
        HeldData(
            _("Attached files"),
            [row_of(each, "name", "kind", "note") for each in files if not each.is_removed],
        ),
        HeldData(
            _("Who changed what"),
            [
                {
                    _("when"): str(localize(timezone.localtime(entry.timestamp))),
                    _("what"): _fields_of(entry),
                }
                for entry in trail
            ],
        ),
    ]


def _fields_of(entry: LogEntry) -> str:
    if entry.action == LogEntry.Action.CREATE:
        return _("the customer was entered")
    # An entry of the trail may also list what points to the customer.
    changed = entry.changes_dict
    return ", ".join(
        str(field.verbose_name) for field in Customer._meta.concrete_fields if field.name in changed
    )


def file_of(customer: Customer) -> bytes:
    """Return all that is held of a customer as a zip file: a text in JSON, and the files.

    A file that a restored backup lacks is left out.
    """
    told = {
        "held_by": House.current().name,
        "made_at": timezone.localtime().isoformat(timespec="seconds"),
        "held": [
            {"what": str(data.title), "kept_because": str(data.stays), "rows": data.rows}
            for data in held_of(customer)
        ],
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "personal-data.json", json.dumps(told, ensure_ascii=False, indent=2, default=str)
        )
        for number, each in enumerate(Attachment.objects.of(customer).in_use(), start=1):
            try:
                with each.file.open("rb") as kept:
                    archive.writestr(f"files/{number}-{each.name}", kept.read())
            except FileNotFoundError:
                continue
    return packed.getvalue()

"""Add suppliers and change what is known of them."""

from typing import Required, TypedDict, Unpack

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import checks
from inventory.shared.errors import Problems
from inventory.stock.models import Balance, Lot, Supplier


class SupplierDetails(TypedDict, total=False):
    """All that is known of a supplier; `country` is two letters of ISO 3166-1."""

    name: Required[str]
    kind: str
    contact: str
    phone: str
    email: str
    street: str
    city: str
    region: str
    postal_code: str
    country: str
    tax_number: str
    terms_days: int
    payment_details: str
    is_active: bool
    note: str


@transaction.atomic
def add(**details: Unpack[SupplierDetails]) -> Supplier:
    """Add a supplier and return it; raises `BadValue` or `SeveralProblems`."""
    return _save(Supplier(), details)


@transaction.atomic
def change(supplier: Supplier, **details: Unpack[SupplierDetails]) -> Supplier:
    """Change what is given of a supplier and return it; raises as `add`.

    A beekeeper whose honey is here, or was, stays one; while it is here, they stay in use.
    """
    return _save(Supplier.objects.select_for_update().get(pk=supplier.pk), details)


def named(name: str, *, kind: str) -> Supplier | None:
    """Return the supplier of a name that was typed, adding one of this kind where it is new.

    Returns None for no name. Call inside the transaction of the act that needs it.
    """
    name = " ".join(name.split())
    if not name:
        return None
    return Supplier.objects.called(name) or add(name=name, kind=kind)


def _save(supplier: Supplier, details: SupplierDetails) -> Supplier:
    name_before, kind_before = supplier.name, supplier.kind
    for field, value in details.items():
        setattr(supplier, field, value.strip() if isinstance(value, str) else value)
    problems = Problems()
    supplier.name = " ".join(supplier.name.split())
    namesakes = Supplier.objects.filter(name__iexact=supplier.name).exclude(pk=supplier.pk)
    if not supplier.name:
        problems.add("name", _("Enter the name of the supplier."))
    # Two that were typed differently before they were suppliers may keep their names.
    elif supplier.name != name_before and (namesake := namesakes.first()):
        problems.add(
            "name",
            _(
                "There is a supplier called %(name)s already. Open that one, or add the town "
                "to this name."
            )
            % {"name": namesake.name},
        )
    if (
        supplier.pk
        and kind_before == Supplier.Kind.BEEKEEPER != supplier.kind
        and Lot.objects.filter(owner=supplier).exists()
    ):
        problems.add(
            "kind",
            _("Honey of %(name)s is in the books, so this stays a beekeeper.")
            % {"name": name_before},
        )
    if supplier.pk and not supplier.is_active and _has_honey_here(supplier):
        problems.add(
            "is_active",
            _(
                "Honey of %(name)s is here, so they stay in use. Hand it back or buy it first; "
                "the statement says what there is."
            )
            % {"name": name_before},
        )
    problems.raise_any()
    checks.save_checked(supplier)
    return supplier


def _has_honey_here(supplier: Supplier) -> bool:
    here = Balance.objects.filter(is_physical=True, quantity__gt=0)
    return here.filter(lot__owner=supplier).exists()

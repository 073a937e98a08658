"""The services on offer: added, changed, taken out of use; and the usual ones in one go."""

from decimal import Decimal

from django.db import transaction
from django.utils.text import slugify
from django.utils.translation import gettext as _

from apiary_sales.pricing.models import Service, TaxRate
from inventory.shared import conventions
from inventory.shared.checks import save_checked
from inventory.shared.errors import Problems

Unit = Service.Unit
# More for one unit is a slip of the finger.
PRICE_MAX = Decimal(100_000)


@transaction.atomic
def add(
    *,
    name: str,
    unit: str,
    usual_price: Decimal | None = None,
    unit_cost: Decimal | None = None,
    taxed_as: str = TaxRate.Goods.SERVICES,
    code: str = "",
) -> Service:
    """Add a service and return it; the short name is made from the name unless it is given.

    Raises `BadValue` or `SeveralProblems`.
    """
    name = " ".join(name.split())
    service = Service(
        code=code or _free_code(name),
        name=name,
        unit=unit,
        usual_price=usual_price,
        unit_cost=unit_cost,
        taxed_as=taxed_as,
    )
    _check(service)
    save_checked(service)
    return service


@transaction.atomic
def change(
    *,
    service: Service,
    name: str,
    unit: str,
    usual_price: Decimal | None,
    unit_cost: Decimal | None,
    taxed_as: str,
    is_active: bool,
) -> Service:
    """Change a service; orders already taken keep their price.

    The unit of a service that is on an order stays as it is. Raises `BadValue`.
    """
    service = Service.objects.select_for_update(no_key=True).get(pk=service.pk)
    # Orders are written a layer above, and found here only by the name of their relation.
    is_sold = Service.objects.filter(pk=service.pk, order_lines__isnull=False).exists()
    if unit != service.unit and is_sold:
        problems = Problems()
        problems.add(
            "unit",
            _("%(service)s is on orders counted in this unit. Add another service instead.")
            % {"service": service.name},
        )
        problems.raise_any()
    service.name = " ".join(name.split())
    service.unit = unit
    service.usual_price = usual_price
    service.unit_cost = unit_cost
    service.taxed_as = taxed_as
    service.is_active = is_active
    _check(service)
    save_checked(service)
    return service


@transaction.atomic
def add_usual() -> list[Service]:
    """Add the usual services that are not there yet, without a price; return those added."""
    known = set(Service.objects.values_list("code", flat=True))
    names = {name.casefold() for name in Service.objects.values_list("name", flat=True)}
    return [
        add(code=code, name=name, unit=unit, taxed_as=taxed_as)
        for code, name, unit, taxed_as in _usual()
        if code not in known and name.casefold() not in names
    ]


def _usual() -> list[tuple[str, str, str, str]]:
    services, untaxed = TaxRate.Goods.SERVICES, ""
    by_weight = Unit.KILOGRAM if conventions.current().is_metric else Unit.POUND
    return [
        ("pollination", _("Pollination"), Unit.HIVE, services),
        ("extracting", _("Extracting for others"), by_weight, services),
        ("packing", _("Packing for others"), Unit.EACH, services),
        ("storage", _("Storage for others"), Unit.MONTH, services),
        ("work-by-the-hour", _("Work by the hour"), Unit.HOUR, services),
        ("returned-check", _("Returned-check fee"), Unit.EACH, untaxed),
        ("interest", _("Interest on a late payment"), Unit.EACH, untaxed),
    ]


def _check(service: Service) -> None:
    problems = Problems()
    for name in ("usual_price", "unit_cost"):
        price = getattr(service, name)
        if price is not None and not 0 <= price <= PRICE_MAX:
            problems.add(name, _("Enter an amount from zero to 100,000."))
    problems.raise_any()


def _free_code(name: str) -> str:
    base = slugify(name)[:34] or "service"
    taken = set(Service.objects.filter(code__startswith=base).values_list("code", flat=True))
    number, code = 1, base
    while code in taken:
        number += 1
        code = f"{base}-{number}"
    return code

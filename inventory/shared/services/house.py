"""The details of the house, as printed on papers from now on."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, TypedDict, Unpack

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import checks, conventions, logo_files
from inventory.shared.errors import Problems
from inventory.shared.models import House


class HouseDetails(TypedDict, total=False):
    """What can be changed of the house, beside its currency and unit of weight."""

    name: str
    street: str
    city: str
    region: str
    postal_code: str
    country: str
    country_code: str
    phone: str
    email: str
    tax_number: str
    bank_account: str
    bank_code: str
    payment_note: str
    paper: str
    receipt_paper: str
    tips_are_for_people: bool
    tax_rounding: str
    prices_include_tax: bool
    deposits_taxed: bool
    discount_lowers_tax: bool
    interest_percent_a_year: Decimal
    quote_days: int
    drum_deposit_cents: int
    drum_price_cents: int
    drum_tolerance_percent: Decimal
    market: str
    origin_country: str
    origin_region: str
    origin_rule: str
    language: str
    decimal_sign: str
    first_weekday: int
    smallest_coin_cents: int


@transaction.atomic
def change(
    *,
    currency: str | None = None,
    weight_unit: str | None = None,
    **details: Unpack[HouseDetails],
) -> House:
    """Set details of the house; bills already issued keep the ones of their day.

    Raises `BadValue` (or several) for what does not fit its field, and for another currency or unit
    of weight than that of what is priced and booked already. A house that sells elsewhere than in
    the United States prints on A4, unless its paper is said.
    """
    house = House.current()
    asked = {"currency": currency, "weight_unit": weight_unit}
    fields: dict[str, Any] = {**details}
    fields |= {name: value for name, value in asked.items() if value is not None}
    _check_fixed(house, fields)
    if house.market == House.Market.US and fields.get("market", house.market) != house.market:
        # Only there paper is Letter (common practice).
        fields.setdefault("paper", House.Paper.A4)
    for name, value in fields.items():
        setattr(house, name, value)
    checks.save_checked(house)
    return house


def _check_fixed(house: House, fields: dict[str, Any]) -> None:
    """Raise `BadValue` (or several) for a convention that would give booked figures other sense."""

    def becomes_another(name: str) -> bool:
        return (
            name in fields and fields[name] != getattr(house, name) and conventions.is_fixed(name)
        )

    problems = Problems()
    if becomes_another("currency"):
        problems.add(
            "currency",
            _(
                "The books are in %(currency)s, and stay so: what was priced and booked would "
                "mean other sums. A house with another currency begins with a database of its own."
            )
            % {"currency": house.currency},
        )
    if becomes_another("weight_unit"):
        problems.add(
            "weight_unit",
            _(
                "Prices by weight are in %(unit)s already, and would mean other sums. Weights can "
                "be typed in either unit; a house that prices in the other one begins with a "
                "database of its own."
            )
            % {"unit": house.get_weight_unit_display()},
        )
    problems.raise_any()


@transaction.atomic
def set_logo(*, file: UploadedFile[Any]) -> House:
    """Print this picture on every paper from now on; raises `BadValue`, parameter "file"."""
    # One byte more than is accepted tells that there is too much.
    content = logo_files.cleaned(file.read(logo_files.SIZE_BYTES_MAX + 1))
    house = House.current()
    old = house.logo.name
    house.logo.save("logo", ContentFile(content), save=False)
    checks.save_checked(house)
    _forget(house, old)
    return house


@transaction.atomic
def remove_logo() -> House:
    """Print no logo from now on."""
    house = House.current()
    old, house.logo = house.logo.name, ""
    checks.save_checked(house)
    _forget(house, old)
    return house


def _forget(house: House, name: str | None) -> None:
    """Delete a logo that is no longer printed, once nothing can bring it back."""
    if name:
        storage = house.logo.storage
        transaction.on_commit(lambda: storage.delete(name))

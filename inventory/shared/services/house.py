"""The details of the house, as printed on papers from now on."""

from __future__ import annotations

from typing import Any

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from inventory.shared import checks, logo_files
from inventory.shared.models import House


@transaction.atomic
def change(**fields: Any) -> House:
    """Set details of the house; bills already issued keep the ones of their day.

    Raises `BadValue` (or several) for what does not fit its field.
    """
    house = House.current()
    for name, value in fields.items():
        setattr(house, name, value)
    checks.save_checked(house)
    return house


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

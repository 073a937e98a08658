"""The forms of the house, found by walking its packages."""

import importlib
import pkgutil
from collections.abc import Iterator

from django import forms

import apiary_sales
import inventory


def below(kind: type) -> Iterator[type]:
    """Yield every class made of another, and all that are made of those."""
    for made in kind.__subclasses__():
        yield made
        yield from below(made)


def all_of_them() -> list[type[forms.BaseForm]]:
    """Return every form of the service; pages of the administration are Django's own."""
    for package in (apiary_sales, inventory):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if ".forms" in module.name or module.name.endswith(".filters"):
                importlib.import_module(module.name)
    return [
        made
        for made in below(forms.BaseForm)
        if made.__module__.split(".")[0] in ("apiary_sales", "inventory")
        and not made.__module__.endswith(".admin")
    ]

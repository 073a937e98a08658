"""What files may be attached to: each app registers its models here, one line a model.

An app says it in `ready()` of its `AppConfig`:

    attachable.register("customers.Customer", name="customer", see=…, add=…, page=…)

A page shows the files of a thing with `{% load files %}{% files_of thing %}`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.db.models import Model

from inventory.shared.models import Attachment


@dataclass(frozen=True)
class Attachable:
    """A model that files are attached to; `name` stands for it in addresses.

    One of the permissions of `see` lets a person see its files, one of `add` lets them add and
    remove; an empty `see` means everybody who signs in. `page` is the address to return to.
    """

    model: str
    name: str
    see: tuple[str, ...]
    add: tuple[str, ...]
    page: Callable[[Any], str]

    @property
    def model_class(self) -> type[Model]:
        return apps.get_model(self.model)

    def may_see(self, user: Any) -> bool:
        return not self.see or any(user.has_perm(permission) for permission in self.see)

    def may_add(self, user: Any) -> bool:
        return self.may_see(user) and any(user.has_perm(permission) for permission in self.add)


_registered: dict[str, Attachable] = {}


def register(
    model: str,
    *,
    name: str,
    add: tuple[str, ...],
    page: Callable[[Any], str],
    see: tuple[str, ...] = (),
) -> None:
    """Let files be attached to a model, given as "app.Model"."""
    _registered[name] = Attachable(model=model, name=name, see=see, add=add, page=page)


def by_name(name: str) -> Attachable | None:
    return _registered.get(name)


def of_thing(thing: Model) -> Attachable:
    """Return what is registered for the model of a thing; raises LookupError for another."""
    return _of_label(thing._meta.label)


def of_attachment(attachment: Attachment) -> Attachable:
    """Return what is registered for what a file is attached to, without reading that thing."""
    model = ContentType.objects.get_for_id(attachment.content_type_id).model_class()
    return _of_label(model._meta.label if model else "")


def _of_label(label: str) -> Attachable:
    for each in _registered.values():
        if each.model == label:
            return each
    raise LookupError(f"No app has registered {label} for files; see {__name__}.")

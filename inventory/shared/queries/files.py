"""The files of things, for display."""

from dataclasses import dataclass

from django.db.models import Model

from inventory.shared.models import Attachment


@dataclass(frozen=True)
class FilesOfThing:
    """The files that a thing has, and those that were removed from it, newest first."""

    there: list[Attachment]
    removed: list[Attachment]


def of_thing(thing: Model) -> FilesOfThing:
    """Return the files of a thing, with who added and removed them, in one query."""
    found = list(Attachment.objects.of(thing).select_related("added_by", "removed_by"))
    return FilesOfThing(
        there=[each for each in found if not each.is_removed],
        removed=[each for each in found if each.is_removed],
    )


def find(pk: int) -> Attachment | None:
    return Attachment.objects.select_related("added_by").filter(pk=pk).first()

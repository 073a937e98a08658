"""Who may bring in which kind of list."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import get_object_or_404

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.kinds import ALL, BRING_IN, BY_KIND, ListKind


def open_to(user: Any) -> list[ListKind]:
    """Return the kinds that a person may bring in."""
    return [what for what in ALL if may(user, what)]


def may(user: Any, what: ListKind) -> bool:
    """Tell whether a person may bring in lists, and make what this kind makes by hand too."""
    return bool(user.has_perm(BRING_IN)) and bool(user.has_perms(what.permissions))


def kind_for(user: Any, kind: str) -> ListKind:
    """Return a kind by its name; refuses one that the person may not bring in."""
    what = BY_KIND.get(kind)
    if what is None:
        raise Http404
    if not may(user, what):
        raise PermissionDenied
    return what


def import_for(user: Any, pk: int) -> Import:
    """Return an import that was not dropped, where the person may bring in its kind."""
    found: Import = get_object_or_404(
        Import.objects.exclude(state=Import.State.DROPPED).select_related(
            "uploaded_by", "completed_by", "undone_by", "work"
        ),
        pk=pk,
    )
    kind_for(user, found.kind)
    return found

"""The page from which the owner takes everything along."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.http import FileResponse, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from apiary_sales.keeping import export_work
from inventory.shared.people import person_of

# An export has everything that the owner may see, and what nobody else may.
PERMISSION = "accounts.manage_people"


@require_safe
@permission_required(PERMISSION, raise_exception=True)
def export(request: HttpRequest) -> HttpResponse:
    """Say what an export is, and offer the last one."""
    context: dict[str, Any] = {"kept": export_work.kept(), "under_way": export_work.under_way()}
    return render(request, "keeping/export.html", context)


@require_POST
@permission_required(PERMISSION, raise_exception=True)
def export_begin(request: HttpRequest) -> HttpResponse:
    """Begin an export, and show how far it is."""
    work = export_work.begin(started_by=person_of(request))
    return redirect("inventory:long_work", pk=work.pk)


@require_safe
@never_cache
@permission_required(PERMISSION, raise_exception=True)
def export_file(request: HttpRequest) -> HttpResponseBase:
    """Hand out the last export."""
    kept = export_work.kept()
    if kept is None:
        messages.info(request, _("There is no export on this machine. Make one."))
        return redirect("keeping:export")
    return FileResponse(kept.path.open("rb"), as_attachment=True, filename=kept.path.name)


@require_POST
@permission_required(PERMISSION, raise_exception=True)
def export_delete(request: HttpRequest) -> HttpResponse:
    """Delete the export that is kept here."""
    export_work.delete()
    messages.success(request, _("The export is deleted here. What you downloaded is still yours."))
    return redirect("keeping:export")
